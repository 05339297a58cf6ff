"""The group sheet as one HTML file that needs no network.

A small script of its own sorts and filters. Without it the page is complete, worst first.
"""

from __future__ import annotations

import base64
import hashlib

from motioncheck.records import VERDICTS
from motioncheck.records.group import GroupSheet
from motioncheck.sheet import group_view as view
from motioncheck.sheet.group_json import group_to_json
from motioncheck.sheet.group_tables import group_csv
from motioncheck.sheet.html import GENERATOR, TEMPLATES, load_templates, make_policy, mark_safe
from motioncheck.sheet.words import lower_first, mark_of

GROUP_HTML, GROUP_JSON, GROUP_CSV = "group.html", "group.json", "group.csv"


def render_group(group: GroupSheet) -> str:
    """Render the group sheet.

    Parameters
    ----------
    group : GroupSheet

    Returns
    -------
    str
        A complete HTML document, for 500 clips under 3 MB. It loads nothing; the only script that
        may run is the one that stands in it. Every text that came from outside is escaped, and
        links lead only to places below or beside its own folder. There are no pictures, and
        athletes are called by their codes.
    """
    style = "".join(_read(name) for name in ("sheet.css", "group.css"))
    script = _read("group.js")
    reasons, remark = view.reason_lines(group)
    shown = view.tables(group)
    return (
        load_templates()
        .get_template("group.html.j2")
        .render(
            group=group,
            style=mark_safe(style),
            script=mark_safe(script),
            policy=f"{make_policy(style)}; script-src 'sha256-{_digest(script)}'",
            generator=GENERATOR,
            headline=view.headline(group),
            facts=view.facts(group),
            looks=view.look_lines(group),
            more_looks=view.more_looks(group),
            shared=group.shared[: view.MAX_SHARED],
            reasons=reasons,
            remark=remark,
            some_wait=any(row.state == "waiting" for row in group.without_result),
            missing=view.missing_lines(group),
            tables=shown,
            titles={table.movement: lower_first(table.title) for table in shown},
            verdict_marks=[mark_of(v) for v in VERDICTS],
        )
    )


def render_group_files(group: GroupSheet) -> dict[str, str]:
    """Render all files of a group: group.html, group.json, group.csv."""
    return {
        GROUP_HTML: render_group(group),
        GROUP_JSON: group_to_json(group),
        GROUP_CSV: group_csv(group),
    }


def _read(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
