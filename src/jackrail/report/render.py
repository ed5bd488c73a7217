"""The door of the report stage: a work in, one self-contained HTML page out."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from jackrail.checks.heard import rehearsal_findings
from jackrail.findings import Finding
from jackrail.rehearsal.model import Rehearsal
from jackrail.setting.losses import gather
from jackrail.work import Alternatives, Work

from . import numbers, words
from .notation import notation_of
from .picture import picture_of
from .rehearsed import rehearsed_of
from .svg import clean
from .tradeoff import gains_table, trade_off


def render_report(
    work: Work, rehearsal: Rehearsal | None = None, findings: Sequence[Finding] = (), others: Alternatives | None = None
) -> str:
    """The report on a work as HTML text: no network, no script, nothing outside but an optional sound.wav beside it.

    rehearsal: of this work, where there was one. findings: where there was none, the one that says why, if there is a reason.
    others: what could be had instead, where that was worked out.

    The same work gives the same text, byte for byte. Titles and names may hold anything: they are escaped.
    """
    told = rehearsal_findings(rehearsal) if rehearsal else []
    counted = work.findings if rehearsal and rehearsal.injected else (*work.findings, *told)  # faults made on purpose are none of the work
    return (
        _environment()
        .get_template("template.html.j2")
        .render(
            title=work.tune.title or "Untitled",
            machine=work.machine.name,
            verdict=words.verdict(work),
            outlook=words.outlook(counted),
            rehearsal_words=words.rehearsal_words(rehearsal, told) if rehearsal else words.not_rehearsed(findings),
            before=words.before(work),
            rehearsed=rehearsed_of(work, rehearsal) if rehearsal else None,
            nothing_lost=words.nothing_lost(work),
            losses=gather(work.setting.losses),
            why=work.setting.why,
            names_differ=words.names_differ(work),
            notation=notation_of(work),
            picture=picture_of(work),
            trade_off=trade_off(others.front, work.setting.point) if others else None,
            gains=gains_table(others.gains) if others else None,
            facts=numbers.facts(work),
            moves=numbers.moves_table(work),
            rails=numbers.rails_table(work),
            flash=numbers.flash(work),
            parts=numbers.work_table(work),
            findings=[*work.findings, *told],
            played=words.how_played(work),
            cautions=words.cautions(work),
        )
    )


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("jackrail", "report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: clean(value) if isinstance(value, str) else value,
    )
