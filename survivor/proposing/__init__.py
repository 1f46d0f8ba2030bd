"""A study file proposed from the sheets of a folder, with the questions that only a person can answer."""
