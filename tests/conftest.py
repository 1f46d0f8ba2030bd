"""How hypothesis runs here: seconds depend on the machine, so no example has a deadline."""

from hypothesis import settings

settings.register_profile("unhurried", parent=settings.default, deadline=None)
settings.load_profile("unhurried")
