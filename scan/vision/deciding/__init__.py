"""A card's posterior to its reading: one value a field, what to ask a person, and which promises do not hold.

Weighed again with what the card itself tells of its player: `habits` (what they leave out), `confusions`
(which of their digits look like others), `card_hand` (how their digits look). Then `verdicts` (the best
answer, by ink and rules and by ink alone), `findings` (broken promises in words), `flags` (what to ask and
why); `decode` is the way through. No picture and no OpenCV here.
"""
