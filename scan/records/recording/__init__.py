"""A round to the record that is kept, and back: JSON text that holds to one published schema.

`record_json` (round <-> JSON) <- `schema` (is a record what `rounds.schema.json` says, and if not, where and
why). Records come from elsewhere, too: `typed` fills out what was typed by hand, `as_written` takes an
export's line the quick way; `from_file` says what waits in such a record and takes answers, `editing` changes
it by hand. `kept` is a reading as JSON, so that its round can be composed anew.
"""
