"""The photo, the records, the review, the analysis, the command line.

photo -> `vision` (what the ink says, joined with the card's sums) -> `reading` (values, probabilities,
doubts) -> `records` (rounds with provenance, kept in a store) -> `review` (a person answers what is unclear)
and `practice` (what to work on). `intake` brings many photos in; `cli` is the command line. Imports go one
way, left to right; `tests/test_imports.py` holds the rule.
"""
