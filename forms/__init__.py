"""The card: what it asks, where each cell lies, how it is printed.

form (TOML) -> layout (cells in mm) -> drawing (strokes, fills, words) -> PDF, and
layout -> field map (JSON), the one thing a reader of photos needs to know about a sheet.
`rules` states the sums a card promises; printing, decoding and validating all use that one statement.
Nothing here knows about photos, records or databases.
"""
