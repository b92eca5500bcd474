"""Rounds out into open formats and back in; what comes in is checked whole before anything is kept.

`columns` (of every table: name, type, meaning, stated once) <- `csv_text` (rows <-> CSV) <- `export` (CSV,
JSON, Parquet). Back: `csv_text` <- `csv_rows` (typed, each field checked) <- `csv_rounds` (records) <-
`importing`, which takes JSON as well. No store here: one gives rounds and another takes them.
"""
