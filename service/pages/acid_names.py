"""What pages call the acids."""

from __future__ import annotations

from collections.abc import Mapping

from service.translations.catalogue import marked

ACID_NAMES: Mapping[str, str] = {
    "sulfuric": marked("Sulfuric acid"),
    "phosphoric": marked("Phosphoric acid"),
    "nitric": marked("Nitric acid"),
    "hydrochloric": marked("Hydrochloric acid"),
    "citric": marked("Citric acid"),
}
