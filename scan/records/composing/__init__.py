"""What a card's fields say, with a person's answers, to a round; then what follows from a round alone.

`rounds` (what a round is; each value says where it came from) and `answers` (what a person said of a field)
<- `card_values` (the fields of one card) <- `compose` (a round), `practice_sets` (sets of a drill),
`other_sheets` (rows of a sheet that is no round). Of a round alone: `validate` (what does not hold in it;
`places` finds the card's field for that), `tidy` (one fact a row) <- `doubt` (whole rounds that may be true).
"""
