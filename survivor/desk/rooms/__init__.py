"""The rooms of the desk, one module each."""
