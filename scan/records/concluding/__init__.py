"""What a card amounts to with all its photos and answers: worked out here, kept by the rooms behind.

Photos: `sameness` (do two show one round) <- `versions` (which one speaks for it, what the others
contradict), `outcomes` (what became of each). Answers: `cards` (what waits on one) <- `looks` (several fields
answered at once). `lessons` are the boxes that teach a player's hand. `settled` is the outcome of it all.
Pure: no database here.
"""
