from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from advisor.quantities import PUBLISHED
from advisor.store import advice, alarms, assessments, export, outcomes, readings
from advisor.store.export import Format
from advisor.store.outcomes import StoredOutcome
from advisor.store.readings import StoredReading
from advisor.store.store import MEMORY, Store
from tests.store import factories
from tests.store.factories import T0_MS, reading


def _told(store: Store, table: str, form: Format) -> list[dict[str, object]]:
    out = io.StringIO()
    count = export.write(store, table, out, form)
    text = out.getvalue()
    lines = list(csv.DictReader(io.StringIO(text))) if form == "csv" else [json.loads(x) for x in text.splitlines()]
    assert len(lines) == count
    return lines


def _readings() -> list[StoredReading]:
    return [
        reading("south/a", "run", T0_MS, b'{"running": true,\n "stroke_rate_spm": 8.0}'),
        reading("north/7", "level", T0_MS + 7, '{"level_ft_md": 4800.10, "id": "é,\\"x\\""}'.encode()),
    ]


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_what_breaks_a_line_within_a_cell_breaks_no_row(end: str) -> None:
    """RFC 4180, 2.6: fields with line breaks are in double quotes. JSON may have any of them between its tokens."""
    payload = f'{{"running": true,{end}"stroke_rate_spm": 8.0}}'
    out = io.StringIO(newline="")
    with Store(MEMORY) as store:
        readings.add(store, [replace(reading("south/a", "run", T0_MS, payload.encode()), id=f"a{end}b")])
        export.write(store, "readings", out, "csv")
    assert out.getvalue().startswith("site,well,kind,at,received_at,id,quality,payload\nsouth,a,run,")
    [row] = csv.DictReader(io.StringIO(out.getvalue(), newline=""))
    assert (row["id"], row["payload"]) == (f"a{end}b", payload)


def test_readings_as_csv_have_the_columns_that_are_promised() -> None:
    with Store(MEMORY) as store:
        readings.add(store, _readings())
        north, south = _told(store, "readings", "csv")
    assert list(north) == ["site", "well", "kind", "at", "received_at", "id", "quality", "payload"]
    assert north == {
        "site": "north",
        "well": "7",
        "kind": "level",
        "at": "2027-03-01T06:00:00.007Z",
        "received_at": "2027-03-01T06:00:02.007Z",
        "id": "",
        "quality": "good",
        "payload": '{"level_ft_md": 4800.10, "id": "é,\\"x\\""}',
    }
    assert south["payload"] == '{"running": true,\n "stroke_rate_spm": 8.0}'
    assert south["at"] == "2027-03-01T06:00:00.000Z"


def test_readings_as_ndjson_are_a_line_each_with_the_payload_as_an_object() -> None:
    with Store(MEMORY) as store:
        readings.add(store, _readings())
        north, south = _told(store, "readings", "ndjson")
        out = io.StringIO()
        export.write(store, "readings", out, "ndjson")
    assert north["payload"] == {"level_ft_md": 4800.1, "id": 'é,"x"'}
    assert north["id"] is None
    assert south["payload"] == {"running": True, "stroke_rate_spm": 8.0}
    assert '"level_ft_md":4800.10' in out.getvalue()  # digits as received


@pytest.mark.parametrize("count", [499, 500, 501, 1203])
def test_every_reading_is_told_once_across_pages(count: int) -> None:
    rows = [reading(f"north/{i % 7}", "run", T0_MS + i) for i in range(count)]
    with Store(MEMORY) as store:
        readings.add(store, rows)
        lines = _told(store, "readings", "ndjson")
    assert len(lines) == count
    assert len({(line["well"], line["at"]) for line in lines}) == count


def test_assessments_carry_every_published_quantity() -> None:
    with Store(MEMORY) as store:
        assessments.add(store, [factories.assessment("south/a"), factories.assessment()])
        nested, _ = _told(store, "assessments", "ndjson")
        flat, _ = _told(store, "assessments", "csv")
    assert nested["level_ft_md"] == {"value": 4800.0, "sd": 24.0, "by": "joints"}
    assert nested["intake_psig"] is None
    assert nested.keys() >= PUBLISHED.keys()
    assert (flat["site"], flat["well"], flat["at"]) == ("north", "7", "2027-03-01T06:00:00Z")
    assert (flat["level_ft_md"], flat["level_ft_md_sd"], flat["level_ft_md_by"]) == ("4800.0", "24.0", "joints")
    assert (flat["intake_psig"], flat["intake_psig_sd"]) == ("", "")
    assert (flat["pound_probability"], flat["suspects_worn_pump"], flat["inputs_run"]) == ("0.07", "0.04", "stale")
    assert flat["notes"] == "no production test on file; level: joint echoes counted"


def test_advice_alarms_and_outcomes_are_told_in_both_forms() -> None:
    outcome = StoredOutcome(
        advice_id="a1",
        well="north/7",
        applied_at_ms=T0_MS,
        body=b'{"advice_id":"a1","verdict":"held","predicted":{"liquid_bpd":{"value":172.0,"sd":8.0}}}',
    )
    with Store(MEMORY) as store:
        advice.put(store, [factories.advice()])
        alarms.publish(store, [factories.alarm(), factories.alarm(state="acknowledged", at_ms=T0_MS + 1000)])
        outcomes.put(store, outcome)
        told = {table: (_told(store, table, "csv"), _told(store, table, "ndjson")) for table in export.TABLES}
    flat, nested = told["advice"]
    assert (flat[0]["now_stroke_rate_spm"], flat[0]["proposed_stroke_rate_spm"]) == ("8.0", "7.2")
    assert flat[0]["because"] == "the level falls 12 ft a day; the pump outruns the inflow"
    assert (nested[0]["id"], nested[0]["state"], nested[0]["decided_at"]) == ("a1", "offered", None)
    flat, nested = told["alarms"]
    assert [line["state"] for line in flat] == ["unacknowledged", "acknowledged"]
    assert flat[0]["evaluable"] == "true"
    assert json.loads(str(flat[0]["clauses"])) == nested[0]["clauses"]
    flat, nested = told["outcomes"]
    assert (flat[0]["site"], flat[0]["verdict"], flat[0]["judged_at"]) == ("north", "held", "")
    assert nested[0]["predicted"] == {"liquid_bpd": {"value": 172.0, "sd": 8.0}}


@pytest.mark.parametrize("table", sorted(export.TABLES))
def test_no_field_of_a_line_is_left_out_of_the_csv(table: str) -> None:
    """What NDJSON tells on its top level has a column, or columns that begin with its name."""
    with Store(MEMORY) as store:
        readings.add(store, _readings())
        assessments.add(store, [factories.assessment()])
        advice.put(store, [factories.advice()])
        alarms.publish(store, [factories.alarm()])
        body = b'{"advice_id":"a1","applied_at":"","judged_at":"","verdict":"held","predicted":{},"seen":{}}'
        outcomes.put(store, StoredOutcome(advice_id="a1", well="north/7", applied_at_ms=1, body=body))
        (nested, *_) = _told(store, table, "ndjson")
        (flat, *_) = _told(store, table, "csv")
    assert None not in flat
    missing = [name for name in nested if not any(column == name or column.startswith(f"{name}_") for column in flat)]
    assert missing == []


@pytest.mark.parametrize("table", sorted(export.TABLES))
def test_an_empty_table_is_a_heading_or_nothing(table: str) -> None:
    with Store(MEMORY) as store:
        out = io.StringIO()
        assert export.write(store, table, out, "csv") == 0
        assert len(out.getvalue().splitlines()) == 1
        assert _told(store, table, "ndjson") == []


def test_an_export_beside_a_writer_holds_nothing_up_and_comes_to_an_end(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path) as store, Store(path, readonly=True) as reader:
        readings.add(store, [reading(at_ms=T0_MS + i) for i in range(1200)])

        class Slow(io.StringIO):
            def write(self, text: str) -> int:
                readings.add(store, [reading("zz/9", at_ms=T0_MS + self.tell())])
                return super().write(text)

        out = Slow()
        assert export.write(reader, "readings", out, "ndjson") == 1200
        assert readings.count(store) == 2400
        assert store.rows("PRAGMA wal_checkpoint(TRUNCATE)") == [(0, 0, 0)]  # no reader stands in the way


def test_a_table_that_is_not_exported_is_an_error() -> None:
    with Store(MEMORY) as store, pytest.raises(KeyError, match="outbox"):
        export.write(store, "outbox", io.StringIO())
