"""Exports: everything for the person, nothing that tells who it is for others."""

from __future__ import annotations

import base64
import csv
import io
import json
import stat
import zipfile
from dataclasses import replace

import pytest
import sheet_examples as ex
from test_privacy_erase import CLIP, CLIP_NAME, NAME, NOTE, SESSION, WHO, WHY, make_sheet

from motioncheck.errors import OutputError, UsageError
from motioncheck.history import open_history
from motioncheck.privacy import erase_person, export_for_sharing, export_person
from motioncheck.records.history import Correction, PersonRecord
from motioncheck.sheet import render_html, sheet_to_json
from motioncheck.sheet.write import write_outputs

TOLD = (NAME, "Ottilie", NOTE, SESSION, CLIP_NAME, CLIP, WHY, WHO, "2026", "1991", "regatta")


@pytest.fixture
def history(history_place):
    with open_history(history_place) as opened:
        yield opened


@pytest.fixture
def filled(history, tmp_path):
    history.add_person(PersonRecord("seat5", name=NAME, birth_year=1991, sex="female", notes=NOTE))
    example = ex.squat_sheet(6)
    sheet = make_sheet()
    folder = tmp_path / "results"
    page = render_html(sheet, example.table, example.stills)
    write_outputs(folder, {"sheet.json": sheet_to_json(sheet), "sheet.html": page})
    history.record(
        sheet, person="seat5", session=SESSION, day="2026-03-01", folder=folder,
        clip_path=tmp_path / CLIP_NAME, plan=("week 1", 'title = "week 1"\n'),
    )  # fmt: skip
    history.record(make_sheet("b.mp4", "bb" * 32), person="seat5", session="two", day="2026-03-15")
    history.add_correction(
        Correction(
            kind="strike", clip_sha256=CLIP, movement=sheet.movement.id, by=WHO,
            made_at="2026-03-02T10:00:00+00:00", at_s=sheet.events[1].turn_s, text=WHY,
        )
    )  # fmt: skip
    return folder


def read(path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"))))


def test_the_full_export_holds_everything(history, filled, tmp_path):
    target = tmp_path / "all.zip"
    count = export_person(history, "seat5", target)
    files = read(target)
    assert count == len(files)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    content = json.loads(files["person.json"])
    assert content["person"]["name"] == NAME
    assert content["person"]["notes"] == NOTE
    assert [s["name"] for s in content["sessions"]] == [SESSION, "two"]
    assert content["corrections"][0]["text"] == WHY
    assert len(rows(files["checks.csv"])) == len(content["checks"]) == 2
    assert len(rows(files["events.csv"])) == 12
    assert len(rows(files["values.csv"])) == len(content["values"]) > 4
    first = history.checks("seat5")[0].id
    assert json.loads(files[f"checks/{first:05d}/measured.json"])["clip"]["name"] == CLIP_NAME
    assert json.loads(files[f"checks/{first:05d}/corrected.json"])["corrections"]
    assert files[f"checks/{first:05d}/sheet.html"] == (filled / "sheet.html").read_bytes()
    assert any(name.startswith("plans/") for name in files)


@pytest.mark.parametrize("pictures", [False, True])
def test_an_export_for_sharing_tells_nobody_who_when_or_where(history, filled, tmp_path, pictures):
    target = tmp_path / "shared.zip"
    export_for_sharing(history, "seat5", target, pictures=pictures)
    files = read(target)
    for name, content in files.items():
        for word in (*TOLD, str(tmp_path)):
            assert word.encode() not in content, f"{word} in {name}"
            assert word not in name
    assert [r["day"] for r in rows(files["sessions.csv"])] == ["day 0", "day 14"]
    assert {r["clip"] for r in rows(files["checks.csv"])} == {"clip 1", "clip 2"}
    # One of six is struck; it is shown as such.
    assert sum(r["struck"] == "True" for r in rows(files["events.csv"])) == 1
    with zipfile.ZipFile(target) as archive:
        assert {entry.date_time[0] for entry in archive.infolist()} == {1980}


def test_pictures_for_sharing_are_those_with_covered_faces(history, filled, tmp_path):
    target = tmp_path / "shared.zip"
    export_for_sharing(history, "seat5", target, pictures=True)
    shown = [c for n, c in read(target).items() if n.endswith(".jpg")]
    assert len(shown) == 6
    page = (filled / "sheet.html").read_bytes()
    for content in shown:
        assert content.startswith(b"\xff\xd8")
        assert b"Exif" not in content
        assert base64.b64encode(content) in page


def test_uncovered_pictures_are_never_shared(history, tmp_path):
    sheet = make_sheet()
    options = {**sheet.provenance.options, "show_face": True}
    sheet = replace(sheet, provenance=replace(sheet.provenance, options=options))
    example = ex.squat_sheet(6)
    page = render_html(sheet, example.table, example.stills)
    write_outputs(tmp_path / "r", {"sheet.json": sheet_to_json(sheet), "sheet.html": page})
    history.record(sheet, person="seat5", folder=tmp_path / "r", day="2026-03-01")
    export_for_sharing(history, "seat5", tmp_path / "x.zip", pictures=True)
    assert not any(name.endswith(".jpg") for name in read(tmp_path / "x.zip"))


def test_the_age_that_chose_the_usual_values_is_not_shared(history, tmp_path):
    sheet = make_sheet()
    options = {**sheet.provenance.options, "age_years": 35, "sex": "female"}
    sheet = replace(sheet, provenance=replace(sheet.provenance, options=options))
    history.record(sheet, person="seat5", day="2026-03-01")
    export_for_sharing(history, "seat5", tmp_path / "x.zip")
    files = read(tmp_path / "x.zip")
    assert not [name for name, content in files.items() if b"age_years" in content]
    shared = json.loads(next(c for n, c in files.items() if n.endswith("sheet.json")))
    assert shared["provenance"]["options"]["sex"] == "female"


@pytest.mark.parametrize("last", ["meets", "misses"])
def test_of_two_corrections_the_one_that_holds_is_shared(history, filled, tmp_path, last):
    sheet = make_sheet()
    check, *_ = history.checks("seat5")
    for verdict in ({"meets", "misses"} - {last}).pop(), last:
        history.add_correction(
            Correction(
                "verdict", CLIP, sheet.movement.id, WHO, "2026-03-02T10:00:00+00:00",
                at_s=sheet.events[2].turn_s, check="depth", verdict=verdict, text=WHY,
            )
        )  # fmt: skip
    export_for_sharing(history, "seat5", tmp_path / "x.zip")
    shared = json.loads(read(tmp_path / "x.zip")[f"checks/{check.id:05d}/sheet.json"])
    findings = shared["events"][2]["findings"]
    assert [f["corrected"] for f in findings if f["check"] == "depth"] == [last]


def test_pictures_of_a_sheet_that_was_made_again_with_faces_shown_are_not_shared(
    history, filled, tmp_path
):
    """Faces are no measurement: the history does not record the second check."""
    sheet = make_sheet()
    options = {**sheet.provenance.options, "show_face": True}
    shown = replace(sheet, provenance=replace(sheet.provenance, options=options))
    assert history.record(shown, person="seat5", session=SESSION, folder=filled).status == "known"
    (filled / "sheet.json").write_text(sheet_to_json(shown), "utf-8")
    export_for_sharing(history, "seat5", tmp_path / "x.zip", pictures=True)
    assert not any(name.endswith(".jpg") for name in read(tmp_path / "x.zip"))


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("Aoife O'Neill", "Kneeling of O'Neill"),
        ("Zo\u00eb", "Zoe\u0308 at home"),
        ('Ann "Nessie" Lee', "nessie's squat"),
        # Part of it is a word of every sheet; the rest is not, nor is the whole.
        ("Max Wendelstein", "as Wendelstein does it"),
        ("Max Mark", "Max Mark, kneeling"),
        ("Wei\u00df", "WEISS squat"),
    ],
)
def test_a_name_is_found_however_it_is_written(history, tmp_path, name, written):
    history.add_person(PersonRecord("seat1", name=name))
    sheet = make_sheet("c.mp4", "cc" * 32)
    history.record(replace(sheet, how_measured=(written,)), person="seat1", day="2026-03-20")
    with pytest.raises(OutputError, match="tells who it is"):
        export_for_sharing(history, "seat1", tmp_path / "x.zip")


@pytest.mark.parametrize("name", ["Max", "Mark Robinson", "Will Right"])
def test_a_name_that_is_a_word_of_every_sheet_does_not_stop_the_export(history, tmp_path, name):
    history.add_person(PersonRecord("seat1", name=name))
    history.record(make_sheet("c.mp4", "cc" * 32), person="seat1", day="2026-03-20")
    assert export_for_sharing(history, "seat1", tmp_path / "x.zip") > 5


def test_a_name_in_an_unexpected_place_stops_the_export(history, filled, tmp_path):
    sheet = make_sheet("c.mp4", "cc" * 32)
    sheet = replace(sheet, how_measured=(*sheet.how_measured, f"Filmed for {NAME.upper()}."))
    history.record(sheet, person="seat5", session="three", day="2026-03-20")
    with pytest.raises(OutputError, match="tells who it is"):
        export_for_sharing(history, "seat5", tmp_path / "x.zip")
    assert not (tmp_path / "x.zip").exists()


def test_an_export_replaces_nothing_unasked_and_leaves_nothing_half_written(
    history, filled, tmp_path, monkeypatch
):
    target = tmp_path / "x.zip"
    target.write_bytes(b"mine")
    with pytest.raises(OutputError, match="Expected no file"):
        export_person(history, "seat5", target)

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("motioncheck.privacy.export._collect_check", full)
    with pytest.raises(OutputError, match="No space left"):
        export_person(history, "seat5", target, replace=True)
    assert target.read_bytes() == b"mine"
    assert sorted(p.name for p in tmp_path.glob("*x.zip*")) == ["x.zip"]


def test_hostile_text_is_harmless_in_tables(history, tmp_path):
    history.add_person(PersonRecord("seat1", name="=1+1", notes='@SUM(A1)"; DROP TABLE person;--'))
    sheet = make_sheet("=cmd.mp4", "dd" * 32)
    history.record(sheet, person="seat1", session="-2+3", day="2026-03-01")
    export_person(history, "seat1", tmp_path / "x.zip")
    files = read(tmp_path / "x.zip")
    assert rows(files["sessions.csv"])[0]["name"] == "'-2+3"
    assert rows(files["checks.csv"])[0]["clip"] == "'=cmd.mp4"
    for name, content in files.items():
        if name.endswith(".csv"):
            cells = [cell for row in csv.reader(io.StringIO(content.decode())) for cell in row]
            texts = [c for c in cells if c.startswith(("=", "+", "@", "\t", "\r"))]
            assert texts == [], name
    assert [p.code for p in history.list_people()] == ["seat1"]


def test_numbers_stay_numbers(history, filled, tmp_path):
    export_person(history, "seat5", tmp_path / "x.zip")
    values = rows(read(tmp_path / "x.zip")["values.csv"])
    assert all(float(row["mean"]) < 1e6 for row in values)


def test_nobody_is_told_and_nothing_is_written(history, tmp_path):
    with pytest.raises(UsageError, match="nobody called seat9"):
        export_person(history, "seat9", tmp_path / "x.zip")
    assert not (tmp_path / "x.zip").exists()


def test_export_then_erase_leaves_nothing_to_export(history, filled, tmp_path):
    export_person(history, "seat5", tmp_path / "x.zip")
    erase_person(history, "seat5")
    assert not filled.exists()
    assert history.list_people() == ()
    assert history.corrections(withdrawn=True) == ()
    with pytest.raises(UsageError, match="nobody called seat5"):
        export_person(history, "seat5", tmp_path / "y.zip")
