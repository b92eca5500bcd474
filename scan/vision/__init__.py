"""The way of a photo: grey pixels in, a card's reading out; `pipeline` shows it in one screenful.

`photo` (bytes -> grey) -> `corners` (corner marks) -> `codes` (which card) -> `rectify` (where every mm lies,
also on bent paper) -> `ink` (relative to this card's paper and print) -> `bubbles`, `patches`, `digits`
(likelihood of each answer) -> `decode` and its parts (joint posterior under the card's sums, flags, findings)
-> `pictures`. `quality` refuses what cannot be read; `overlay` draws what each step saw. Pure functions but
for `photo`.
"""
