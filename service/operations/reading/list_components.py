"""What the service is made of as it is installed here: every package, its version and license.

Read from the metadata that the packages brought with them, so that it is true of this installation
whatever was pinned. As a bill of materials it is CycloneDX 1.6 in JSON (ECMA-424).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageMetadata, PackageNotFoundError, distribution

from packaging.licenses import InvalidLicenseExpression, canonicalize_license_expression
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from service.errors import NotFound

ROOT = "rillwright"
LONGEST_LICENSE_NAME = 64
"""Some packages put the whole text of their license where its name belongs."""
CYCLONEDX_VERSION = "1.6"
EXTRAS = {"tools": "mcp", "cluster": "distributed"}
"""Extras that the service runs with if they are installed, each with the package that tells."""
_CLASSIFIER = "License :: "


@dataclass(frozen=True, slots=True)
class Component:
    """A package that is installed."""

    name: str
    """In its normal form: small letters and hyphens."""
    version: str
    license: str
    """An SPDX expression, or the name in the package's own words; empty where it states none."""
    is_spdx: bool
    requires: tuple[str, ...]
    """Names of the components it needs here."""


def list_components(root: str = ROOT) -> list[Component]:
    """A package and everything it needs on this system and Python: the package first, then by name.

    What belongs to an extra of the service is listed where that is installed. Raises NotFound for
    one that is needed but not installed.
    """
    found: dict[str, Component] = {}
    asked: set[tuple[str, str]] = set()
    extras = ["", *(extra for extra, package in EXTRAS.items() if _is_installed(package))]
    waiting: list[tuple[str, str, str]] = [
        (canonicalize_name(root), extra, "nothing") for extra in extras
    ]
    while waiting:
        name, extra, asker = waiting.pop()
        if (name, extra) in asked:
            continue
        asked.add((name, extra))
        try:
            installed = distribution(name)
        except PackageNotFoundError:
            raise NotFound(f"package {name}, needed by {asker}, is not installed") from None
        needed = _needed(installed, extra)
        before = found[name].requires if name in found else ()
        text, is_spdx = _license(installed.metadata)
        found[name] = Component(
            name=name,
            version=installed.version,
            license=text,
            is_spdx=is_spdx,
            requires=tuple(sorted({*before, *(each for each, _ in needed)} - {name})),
        )
        waiting += [(each, of_extra, name) for each, of_extra in needed]
    return [found.pop(canonicalize_name(root)), *(found[name] for name in sorted(found))]


def cyclonedx_document(components: Sequence[Component]) -> dict[str, object]:
    """The components as a CycloneDX bill of materials; the first is what it is about.

    It has neither a time nor a serial number: the same installation gives the same document.
    """
    return {
        "bomFormat": "CycloneDX",
        "specVersion": CYCLONEDX_VERSION,
        "version": 1,
        "metadata": {
            "lifecycles": [{"phase": "operations"}],
            "component": _entry(components[0], "application"),
        },
        "components": [_entry(each, "library") for each in components[1:]],
        "dependencies": [
            {
                "ref": _purl(each),
                "dependsOn": [
                    _purl(needed) for needed in components if needed.name in each.requires
                ],
            }
            for each in components
        ],
    }


def _is_installed(name: str) -> bool:
    try:
        distribution(name)
    except PackageNotFoundError:
        return False
    return True


def _needed(installed: Distribution, extra: str) -> list[tuple[str, str]]:
    """Packages needed here, each with an extra of it; an empty extra is the package alone."""
    needed: list[tuple[str, str]] = []
    for text in installed.requires or ():
        requirement = Requirement(text)
        if requirement.marker is None or requirement.marker.evaluate({"extra": extra}):
            name = canonicalize_name(requirement.name)
            needed += [(name, each) for each in ("", *sorted(requirement.extras))]
    return needed


def _license(metadata: PackageMetadata) -> tuple[str, bool]:
    """The license that a package states, and whether it is an SPDX expression (PEP 639)."""
    expressions = metadata.get_all("License-Expression") or []
    stated = [*expressions, *(metadata.get_all("License") or ())]
    named = [
        line.rpartition(" :: ")[2]
        for line in metadata.get_all("Classifier") or ()
        if line.startswith(_CLASSIFIER) and line.count(" :: ") > 1
    ]
    short = [
        text.strip()
        for text in stated
        if "\n" not in text.strip() and len(text.strip()) <= LONGEST_LICENSE_NAME
    ]
    for text in (*expressions, *short):
        try:
            return canonicalize_license_expression(text), True
        except InvalidLicenseExpression:
            continue
    return (" / ".join(sorted(named)) or next(iter(short), "")), False


def _entry(component: Component, kind: str) -> dict[str, object]:
    entry: dict[str, object] = {
        "type": kind,
        "bom-ref": _purl(component),
        "name": component.name,
        "version": component.version,
        "purl": _purl(component),
    }
    if component.is_spdx:
        entry["licenses"] = [{"expression": component.license}]
    elif component.license:
        entry["licenses"] = [{"license": {"name": component.license}}]
    return entry


def _purl(component: Component) -> str:
    """The package's address in the scheme of package URLs (ECMA-427), which names no index."""
    return f"pkg:pypi/{component.name}@{component.version}"
