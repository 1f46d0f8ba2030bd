"""The version of the package, in the one place that names it; the build reads it here."""

__version__ = "0.1.0"
