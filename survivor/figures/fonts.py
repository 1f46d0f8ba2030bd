"""Where the typefaces of the figures lie, so that a document can be set in the same face."""

from __future__ import annotations

from pathlib import Path


def font_folder() -> Path:
    """Return the folder of the typefaces that come with matplotlib; no other need be installed."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"
