"""Before the season: how large it must be, what goes where, when it is visited, and the field sheets."""
