"""The local page: flagged cells, whole cards, photos from the phone, rounds and focus.

Flow: `questions` says what is asked next and what each answer would mean (pure); `views` says which part of
the card's picture shows it (pure); `guard` and `door` decide who may ask for what; `readers` reads uploaded
photos in limited child processes; `app` joins them in routes; `serve` runs the server.
"""
