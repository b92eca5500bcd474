"""Bytes to grey pictures: is the file what it says, is it whole, and how large need it be.

`photo` (kind and size first, then decoding; the only module that opens files) <- `damage` (JPEG, PNG: what is
missing) and `frames` (WebP, TIFF, HEIC: lengths against what is there; `hevc` asks HEIC's own decoder).
`levels` is a picture at full, half and quarter size: whoever samples it takes the smallest that has the
pixels.
"""
