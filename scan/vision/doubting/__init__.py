"""What a photo cannot show: a blank cell is believed only where a mark would have been seen.

`quality` (good enough to read at all, or why not), `partial` (corner marks or cells out of the picture or
covered), `shade` (the edge of a shadow across a cell), `fading` (where a lamp or the sun takes marks away),
`visibility` (the same on cards whose fine print says nothing), `possible` (what no round can be). Each lowers
what was seen, or gives the reason to take the photo again.
"""
