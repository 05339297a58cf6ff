"""The session sheet as one HTML file that needs no network and no script."""

from __future__ import annotations

from typing import Any

from motioncheck.records import VERDICTS
from motioncheck.records.session import BlockResult, Count, SessionSheet
from motioncheck.sheet import session_view as view
from motioncheck.sheet.html import GENERATOR, TEMPLATES, load_templates, make_policy, mark_safe
from motioncheck.sheet.session_chart import letters_of, minute_chart
from motioncheck.sheet.words import lower_first, mark_of


def render_session(sheet: SessionSheet, *, person: str = "") -> str:
    """Render the session sheet.

    Parameters
    ----------
    sheet : SessionSheet
    person : str, optional
        Printed beside the title when given.

    Returns
    -------
    str
        A complete HTML document. It loads nothing and runs nothing; every text that came from
        outside is escaped, and links lead only to places below or beside its own folder.
    """
    style = "".join(
        (TEMPLATES / n).read_text(encoding="utf-8") for n in ("sheet.css", "session.css")
    )
    seen, unseen = view.drift_groups(sheet)
    return (
        load_templates()
        .get_template("session.html.j2")
        .render(
            sheet=sheet,
            person=person,
            style=mark_safe(style),
            policy=make_policy(style),
            generator=GENERATOR,
            facts=view.facts(sheet),
            strips=view.strips(sheet),
            cues=[(cue, lower_first(cue.title)) for cue in sheet.cues],
            totals=[view.total_line(total) for total in sheet.totals],
            blocks=[_block(block) for block in sheet.blocks],
            extra=[view.set_line(one) for one in sheet.extra],
            unmatched=[(u, view.where_of(u.piece)) for u in sheet.unmatched],
            losses=[
                (view.place_text(sheet, f.block, f.label, f.movement), f) for f in sheet.form_losses
            ],
            drifts=[(view.place_text(sheet, d.block, d.label, d.movement), d) for d in seen],
            no_drifts=unseen,
            clips=[(clip, view.safe_link(clip.sheet)) for clip in sheet.clips],
            status_marks=list(view.STATUS.values())[:4],
            verdict_marks=[mark_of(v) for v in VERDICTS],
        )
    )


def _block(block: BlockResult) -> dict[str, Any]:
    lines = [view.set_line(one, said=block.notes) for one in block.sets]
    circuit = block.circuit
    parts: dict[str, Any] = {
        "block": block,
        "lines": lines,
        "has_titles": block.kind == "superset",
        "has_rest": any(line.rest != "–" or line.rest_planned for line in lines),
        "circuit": circuit,
    }
    if circuit is not None:
        letters = letters_of(circuit)
        name = f"b{block.number}"
        wide = minute_chart(circuit, width=1040, font=14, name=f"{name}w")
        narrow = minute_chart(circuit, width=370, font=11, name=f"{name}n")
        parts |= {
            "line": view.circuit_line(circuit),
            "facts": view.circuit_facts(circuit),
            "letters": letters,
            "counts": [_count(count) for count in circuit.counts],
            "due": None if circuit.every_minute is None else _count(circuit.every_minute),
            "minutes": [view.minute_line(row, circuit, letters) for row in circuit.rows],
            "wide": mark_safe(wide),
            "narrow": mark_safe(narrow),
            "where": [view.where_of(piece) for piece in circuit.pieces],
        }
    return parts


def _count(count: Count) -> tuple[Count, Any, str, str]:
    load = ". ".join(part for part in (view.load_text(count), count.notes) if part)
    return count, view.form_marks(count.tally), view.hidden_text(count.tally), load
