"""What belongs together, over several tables: it is taken out, put back and erased as one.

`owners` (whose a card is) <- `set_aside` (a round with all its rows) <- `sheets` (the rounds of one sheet);
`hands` (boxes of a player's writing) and all of these but `sheets` <- `forgetting` (all of one player). Each
inside a transaction that its caller holds.
"""
