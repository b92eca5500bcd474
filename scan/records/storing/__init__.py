"""Tables and the database under them: single statements, each in a transaction that its caller holds.

`tables` (what must hold is a constraint) <- `sealing` (a checksum a row) <- `database` (SQLite, PostgreSQL
and their refusals), `migrations` (old versions to new). On them `statements`, and `many` of them at once;
`told` are sessions told by hand; `heads` and `summary` a card and a round in a line, `listing` such lines
without SQLAlchemy. `checking` asks whether all is as it was written.
"""
