"""The words and numbers that people read, in English and Spanish, in US or SI units.

The catalogues ``en.po`` and ``es.po`` are read as they are when the service starts: there is no
compiled file to build or ship, and a translator's edits take effect directly. The key of a text is
its English wording in the code.
"""

from __future__ import annotations

from service.translations.catalogue import LANGUAGES
from service.translations.wording import Wording, wording

__all__ = ["LANGUAGES", "Wording", "wording"]
