"""The records room: what a photo said becomes a round that is kept, with where each value came from.

reading + form -> `compose` -> `rounds.Round` -> `validate` (findings), `record_json` (checked text) ->
`settled` (what a card amounts to with its answers) -> `store` (one transaction a card) -> `tidy` (rows, one
fact each) -> `export` (CSV, Parquet, JSON) and back by `importing`. Answers of a person go into a history
that only grows, and the round is composed anew from it.
SQLAlchemy is loaded by `store` and its neighbours only, jsonschema only when a record is written.
"""
