"""Likelihoods of cells to the posterior of a card: each field alone, then all together under the card's sums.

`slips` (how people fill in cards, in numbers) <- `likelihoods` (of one field's answers) <- `form_index`
(where a form's fields stand in arrays) <- `posterior` (each field alone). Then what hangs together: `holes`,
`putts`, `dates`, `second_pass`, `written` sums and their chain (`sums`, `card_sums`); `whole_card` weighs
them as one. Exact, and NumPy alone: no picture comes in here.
"""
