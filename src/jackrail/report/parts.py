"""The parts of a work as panels: melody, chords and drums, current."""

from __future__ import annotations

import math
from bisect import bisect_right

from jackrail.findings import count
from jackrail.performance import SoundedNote
from jackrail.pitch import pitch_name
from jackrail.setting.model import Loss, SetNote
from jackrail.setting.naming import note_named
from jackrail.tune.model import Quarters
from jackrail.work import Work

from .clock import Clock
from .ladders import Ladder, ladders_of
from .panels import Level, Lost, Panel, Sound, SoundKind
from .scales import Linear

_EDGE = 7.0
_ROW = 13.0
_CURRENT_HEIGHT = 32.0
_STROKE_S = 0.05
_SAME_S = 1e-6
_SOURCES = {"proposed": " (proposed)", "estimated": " (told from the accompaniment)"}


def panels_of(work: Work, clock: Clock) -> tuple[Panel, ...]:
    """All panels from top to bottom. Where there is a melody voice, every note kept or left out is in exactly one of them."""
    strokes = _stroke_panel(work, clock)
    return (*_melody_panels(work), *([strokes] if strokes else []), *_current_panels(work))


def _melody_panels(work: Work) -> list[Panel]:
    ladders = ladders_of(work)
    lost = _lost_by_ladder(ladders, work) if ladders else {}
    return [
        Panel(
            ladder.title,
            ladder.about,
            ladder.height,
            ladder.levels,
            tuple(_notes(ladder, work)),
            tuple(lost.get(index, ())),
            ladder.path,
            path_title="the carriage's path",
        )
        for index, ladder in enumerate(ladders)
    ]


def _notes(ladder: Ladder, work: Work) -> list[Sound]:
    """Each stroke of each note of the ladder's voices, until the next, or its voice leaves, or it stops ringing."""
    sounds = []
    strokes = {voice.id: [one for one in work.performance.notes if one.voice == voice.id] for voice in work.ensemble.voices}
    for note in work.setting.notes:
        y = ladder.places.get((note.voice, note.place))
        if y is not None:
            pieces = _pieces(note, strokes[work.ensemble.voices[note.voice].id])
            place = work.tune.place(work.tune.notes[note.index].onset_q)
            small = ", a small note" if note.ornamental else ""
            rings = f"{pieces[-1][1] - note.onset_s:.2f} s{_moved(note.octaves)}{small}{_played(note)}"
            title, label = f"{place}: {pitch_name(note.midi)}, {rings}", pitch_name(note.midi) if ladder.one_voice and not small else ""
            kind: SoundKind = "folded" if note.octaves else "note"
            for again, piece in enumerate(pieces):
                sounds.append(
                    Sound(*piece, y, kind, title, "" if again else label, struck=bool(again) or not note.slid, strength=note.strength)
                )
    return sounds


def _pieces(note: SetNote, sounded: list[SoundedNote]) -> list[tuple[float, float]]:
    """From when to when each stroke of a note rings; what its bar glides into begins there. sounded: strokes of its voice."""
    starts = (note.onset_s, *note.again_s)
    rings = [sounded[max(0, bisect_right(sounded, at_s + _SAME_S, key=lambda one: one.onset_s) - 1)] for at_s in starts]
    leaves_s = math.inf if note.leave_s is None else note.leave_s
    ends = [min(after_s, one.onset_s + one.duration_s, leaves_s) for one, after_s in zip(rings, (*starts[1:], math.inf), strict=True)]
    return [(at_s, max(at_s, end_s)) for at_s, end_s in zip(starts, ends, strict=True)]


def _played(note: SetNote) -> str:
    """How it is played, where that is not by one stroke on its beat."""
    slid = ", its bar slides into it" if note.slid else ""
    again = f", struck {count(len(note.again_s), 'time')} more" if note.again_s else ""
    soft = f", struck with {100 * note.strength:.0f} % of full strength" if note.touch else ""
    sways = ", its bar sways" if note.vibrato else ""
    ahead = f", {1000 * note.ahead_s:.0f} ms before its beat" if note.ahead_s else ""
    return f"{slid}{again}{soft}{sways}{ahead}"


def _moved(octaves: int) -> str:
    if not octaves:
        return ""
    far = "an octave" if abs(octaves) == 1 else f"{abs(octaves)} octaves"
    return f", {far} {'higher' if octaves > 0 else 'lower'} than written"


def _lost_by_ladder(ladders: list[Ladder], work: Work) -> dict[int, list[Lost]]:
    """Each note left out, in the panel whose compass is nearest to it; small notes that found no room have no place to stand."""
    shift = work.setting.transpose_semitones
    marks: dict[int, list[Lost]] = {}
    for loss in work.setting.losses:
        if loss.index is None or loss.played:
            continue
        note = work.tune.notes[loss.index]
        midi = note.midi + shift
        index = min(range(len(ladders)), key=lambda ladder: ladders[ladder].distance(midi))
        ladder = ladders[index]
        where = " (beyond this panel)" if ladder.distance(midi) else ""
        small = "small note " if note.ornamental else ""
        title = f"{loss.place}: {small}{note_named(note.midi, work.tune.sharps_at(note.onset_q), shift)} left out{where}: {loss.reason}"
        marks.setdefault(index, []).append(Lost(loss.onset_s, ladder.y_of(midi), title))
    return marks


def _stroke_panel(work: Work, clock: Clock) -> Panel | None:
    """A row for each chord bar and each drum, one for chords left out, one for silence written; None when there is nothing of the kind."""
    voices = work.ensemble.voices
    rows = [v for v, voice in enumerate(voices) if voice.part in ("chord", "beat")]
    y = {v: _EDGE + _ROW * row for row, v in enumerate(rows)}
    levels = [Level(y[v], voices[v].chord or voices[v].places[0].name, "row") for v in rows]
    left_out = [loss for loss in work.setting.losses if loss.kind == "chord-lost"]
    lost_y = _EDGE + _ROW * len(rows)
    if left_out:
        levels.append(Level(lost_y, "left out", "left-out"))
    if not levels:
        return None
    parts = {voices[v].part for v in rows}
    silences = [chord.onset_q for chord in work.tune.chords if chord.silent] if "chord" in parts else []
    silent_y = _EDGE + _ROW * len(levels)
    if silences:
        levels.append(Level(silent_y, "no chord", "left-out"))
    lost = tuple(Lost(loss.onset_s, lost_y, f"{loss.place}: {loss.written} left out: {loss.reason}", loss.written) for loss in left_out)
    silent = [_silence(clock, onset_q, silent_y) for onset_q in silences]
    sounds = sorted([*_strokes(work, clock, y), *_beats(work, clock, y), *silent], key=lambda sound: sound.onset_s)
    chords = f"chords{_SOURCES.get(work.tune.harmony, '')}"
    title = " and ".join(word for word, there in ((chords, "chord" in parts or left_out), ("drums", "beat" in parts)) if there)
    rows_of = [("each chord bar", "chord" in parts), ("each drum", "beat" in parts), ("the chords left out", bool(left_out))]
    rows_of += [("where no chord is to sound", bool(silences))]
    about = f"{title}: a row for {' and for '.join(words for words, there in rows_of if there)}"
    return Panel(title, about, _ROW * (len(levels) - 1) + 2 * _EDGE, tuple(levels), tuple(sounds), lost)


def _strokes(work: Work, clock: Clock, y: dict[int, float]) -> list[Sound]:
    changed: dict[float, Loss] = {loss.onset_s: loss for loss in work.setting.losses if loss.kind == "chord-changed"}
    sounds = []
    for stroke in work.setting.strokes:
        chord, place = work.ensemble.voices[stroke.voice].chord, clock.place(stroke.onset_s)
        loss = None if stroke.repeated else changed.get(stroke.onset_s)
        again = " again" if stroke.repeated else ""
        title = f"{place}: {chord}{again}" if loss is None else f"{place}: {loss.written} written, {chord} sounds"
        label = loss.written if loss else ""
        sounds.append(
            Sound(stroke.onset_s, stroke.onset_s + _STROKE_S, y[stroke.voice], "again" if stroke.repeated else "stroke", title, label)
        )
    return sounds


def _silence(clock: Clock, onset_q: Quarters, y: float) -> Sound:
    at_s = clock.seconds(onset_q)
    return Sound(at_s, at_s + _STROKE_S, y, "silence", f"{clock.place(at_s)}: no chord from here on")


def _beats(work: Work, clock: Clock, y: dict[int, float]) -> list[Sound]:
    names = {v: work.ensemble.voices[v].places[0].name for v in y}
    return [
        Sound(beat.onset_s, beat.onset_s + _STROKE_S, y[beat.voice], "beat", f"{clock.place(beat.onset_s)}: {names[beat.voice]}")
        for beat in work.setting.beats
    ]


def _current_panels(work: Work) -> list[Panel]:
    """A step line for each rail, with the line it must stay below."""
    panels = []
    for trace in work.traces:
        y = Linear(0.0, max(trace.limit_a, trace.peak_a) or 1.0, _CURRENT_HEIGHT - 3, 3)
        levels = (Level(y(0.0), "0 A", "zero"), Level(y(trace.limit_a), f"{trace.limit_a:g} A", "limit"))
        points: list[tuple[float, float]] = []
        for at_s, amps in zip(trace.times_s, trace.currents_a, strict=True):
            if points:
                points.append((at_s, points[-1][1]))
            points.append((at_s, y(amps)))
        points.append((trace.end_s, points[-1][1]))
        volts = work.machine.supply.rail(trace.rail).voltage_v
        about = f"rail {trace.rail}: the current drawn from it, below the dashed line of what it can give"
        title = f"rail {trace.rail} · {volts:g} V, current drawn"
        path_title = f"current of rail {trace.rail}"
        panels.append(Panel(title, about, _CURRENT_HEIGHT, levels, path=tuple(points), path_kind="current", path_title=path_title))
    return panels
