"""What the store can do, in whole transactions: between before and after there is nothing.

`opened` (a connection, and a card within a transaction) <- `reads` (all that is asked), `players` (hands,
sessions told), `erasing` (rounds, hands, players go) and `settling` (what a card amounts to is written anew)
<- `adding` (readings and rounds come in), `answering` (a person's answers do). `store` is all of them as one.
"""
