"""What the service is made of, for people and for an office's own tools."""

from __future__ import annotations

from tests.cli.conftest import call, document


def test_every_package_is_listed_with_its_license() -> None:
    result = call("sqlite://", "components")
    assert result.exit_code == 0, result.output
    assert "Apache-2.0 AND Bitstream-Vera AND OFL-1.1" in " ".join(result.stdout.split())
    rows = document(call("sqlite://", "components", "--json"))
    assert rows[0]["name"] == "rillwright"
    assert all(each["name"] in result.stdout for each in rows)


def test_the_bill_of_materials_is_printed_alone() -> None:
    bill = document(call("sqlite://", "components", "--cyclonedx"))
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert bill["metadata"]["component"]["name"] == "rillwright"
