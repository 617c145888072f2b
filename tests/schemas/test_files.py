"""docs/schemas and docs/messages.md are what the code makes, and the schemas are schemas."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from advisor.schemas import __main__ as writing
from advisor.schemas import asyncapi, files, page
from advisor.units import UNITS_OF
from advisor.wire.fields import COMMON, KINDS
from advisor.wire.published import EVERY

DOCS = Path(__file__).resolve().parents[2] / "docs"
STALE = "differs from the code; run `python -m advisor.schemas`"


@pytest.mark.parametrize("name", sorted(files.texts()))
def test_a_file_is_in_step_with_the_code(name: str) -> None:
    written = (DOCS / "schemas" / name).read_text(encoding="utf-8")
    assert written == files.texts()[name], f"docs/schemas/{name}: {STALE}"


def test_there_is_no_file_that_the_code_does_not_make() -> None:
    assert sorted(path.name for path in (DOCS / "schemas").iterdir()) == sorted(files.texts())


def test_the_page_of_messages_is_in_step_with_the_code() -> None:
    assert (DOCS / "messages.md").read_text(encoding="utf-8") == page.page(), f"docs/messages.md: {STALE}"


def test_the_page_names_every_field_and_every_unit() -> None:
    made = page.page()
    fields = {field.name for kind in KINDS.values() for field in (*COMMON, *kind)}
    units = {unit.suffix for row in UNITS_OF.values() for unit in row}
    topics = {asyncapi.topic_of(told) for told in EVERY} | {
        f"/reading/{kind}`" for kind in KINDS if kind != "confirm"
    }
    told = {part.name for message in EVERY for part in message.parts}
    missing = [name for name in fields | units | topics | told if name not in made]
    assert missing == []


@pytest.mark.parametrize("name", sorted(files.schemas()))
def test_a_schema_is_valid_under_its_dialect(name: str) -> None:
    """Against the meta-schema of json-schema.org, as the jsonschema library has it."""
    schema = files.schemas()[name]
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)


def test_schemas_have_names_of_their_own() -> None:
    names = [schema["$id"] for schema in files.schemas().values()]
    assert len(names) == len(set(names)) == len(KINDS) + len(EVERY)


def references(node: Any) -> list[str]:
    if isinstance(node, dict):
        own = [node["$ref"]] if isinstance(node.get("$ref"), str) else []
        return own + [found for value in node.values() for found in references(value)]
    return [found for value in node for found in references(value)] if isinstance(node, list) else []


def resolved(document: dict[str, Any], reference: str) -> Any:
    if reference.startswith("./"):
        return json.loads((DOCS / "schemas" / reference.removeprefix("./")).read_text(encoding="utf-8"))
    found: Any = document
    for part in reference.removeprefix("#/").split("/"):
        found = found[part]
    return found


def test_every_reference_of_the_asyncapi_document_leads_somewhere() -> None:
    document = asyncapi.document()
    found = references(document)
    assert len(found) >= 4 * len(document["operations"])
    for reference in found:
        assert resolved(document, reference), reference


def test_the_asyncapi_document_says_who_sends_what_and_how() -> None:
    """The topics, directions and retained messages as the public interface has them, written down by hand."""
    received = {"level", "trace", "casing-pressure", "run", "production-test", "event"}
    well = "{root}/{site}/{well}"
    expected = {(f"{well}/reading/{kind}", "receive", False) for kind in received}
    expected |= {(f"{well}/confirm", "receive", False)}
    expected |= {(f"{well}/{one}", "send", True) for one in ("assessment", "advice", "outcome", "alarm/{alarm}")}
    expected |= {(f"{well}/{one}", "send", False) for one in ("release", "request/shot", "refused")}
    expected |= {("{root}/advisor/{name}/status", "send", True)}
    document = asyncapi.document()
    made = set()
    for operation in document["operations"].values():
        channel = resolved(document, operation["channel"]["$ref"])
        binding = operation["bindings"]["mqtt"]
        assert binding["qos"] == 1
        assert set(channel["parameters"]) == set(re.findall(r"{(\w+)}", channel["address"]))
        made.add((channel["address"], operation["action"], binding["retain"]))
    assert made == expected


def test_the_files_are_written_where_they_are_wanted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert writing.main([str(tmp_path / "made")]) == 0
    made = {path.name for path in (tmp_path / "made" / "schemas").iterdir()}
    assert made == set(files.texts())
    assert (tmp_path / "made" / "messages.md").read_text(encoding="utf-8") == page.page()
    assert "files written" in capsys.readouterr().out


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert writing.main([str(tmp_path / "file")]) == 2
    assert "must be a folder" in capsys.readouterr().err
    assert writing.main(["a", "b"]) == 2
