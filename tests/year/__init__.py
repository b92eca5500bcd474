"""A year of use, scripted: two players, three courses, forty rounds, twenty-five practice sheets."""
