"""The records in the page: signing in, cases, recalls, outcomes, backups.

    house = House.of(store, office, place)     everything that one server shares
    Gate(app, house)                           nobody past it without a session
    house.rooms()                              the screens, mounted at /records

Every screen reaches the records through `canalwright.records.desk.Desk` and nothing else. Screens are plain documents with forms: they work
without a script, hold no state, and have a stricter content policy than the rest of the page.
"""
