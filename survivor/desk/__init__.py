"""The local page, for people who open no terminal: it calls what the commands call and writes the same files.

No statistics, no reading and no wording of answers here. `serving` starts and stops it, `guard` decides who
may ask, `folder` what of a folder may be reached, `jobs` runs commands in processes of their own, and each
module of `rooms` is one room.
"""
