"""The records room: what a photo said becomes a round that is kept, with where each value came from.

Its rooms in the order in which things flow; each uses only those before it:

`composing` (fields and answers -> a round) -> `recording` (a round <-> JSON that holds to its schema) ->
`exchanging` (files out and in) and `concluding` (what a card amounts to) -> `storing` (tables, the database)
-> `belonging` (rows that go together) -> `keeping` (whole transactions).

`store` is the last as one, which all others open; `backup` has all that is kept in one file, `listed` gives
rounds and sheets in a line each, `as_json` what commands print. Answers go into a history that only grows,
and the round is composed anew from it. SQLAlchemy is loaded from `storing` on, jsonschema only when a record
is written.
"""
