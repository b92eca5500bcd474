"""A flat picture to what each cell looks like: ink, and from it likelihoods, before any rule.

`ink` (relative to this card's paper and print) -> `patches` (boxes and strips cut out of it) -> `digits` (two
networks, `calibration` says how far to believe them); `ink` -> `bubbles` <- `bubble_net`. `dashes`
are boxes that say nothing. `likeness` lays a box beside others of the same hand: `own_hand` beside earlier
cards', `known_hands` are those of all players. `hand_net` lays the boxes of one card beside each other.
The networks' weights lie here, each with a JSON that says what it was trained on.
"""
