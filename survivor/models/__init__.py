"""Models of establishment survival; ``survivor.models.fit.fit`` is the front door."""
