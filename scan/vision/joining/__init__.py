"""Several photos of one card to one reading, whenever they come.

`together` multiplies what each photo says of the ink, tempered, and decides once; `evidence_kept` keeps what
a photo said as bytes, so that one of next week joins those of today.
"""
