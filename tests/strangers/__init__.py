"""Photos of cards made by a stranger: shares no code with the reader and none with tests/simulator.

What the reader is trained and tuned on is tests/simulator; this package is only ever measured on. Whoever
tunes a constant on it takes away its worth. It works from the printed PDF and the published field map alone,
as somebody outside would, and from how pens, copiers, paper and cameras work.
"""
