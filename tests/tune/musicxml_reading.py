"""MusicXML scores of a few measures, read and shown in short for the tests."""

from jackrail.tune.choice import Choice
from jackrail.tune.model import Tune
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.reader import read_musicxml

DIVISIONS = "<attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>"
FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
BACKWARD = '<barline location="right"><repeat direction="backward"/></barline>'


def note(step: str, duration: int = 4, inside: str = "", before: str = "", octave: int = 5, alter: str = "") -> str:  # noqa: PLR0917
    """A note of `duration` halves of a quarter; C5 is MIDI key 72."""
    alter = f"<alter>{alter}</alter>" if alter else ""
    pitch = f"<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>"
    return f"<note>{before}{pitch}<duration>{duration}</duration>{inside}</note>"


def rest(duration: int = 4, inside: str = "") -> str:
    return f"<note><rest/><duration>{duration}</duration>{inside}</note>"


def grace(step: str, attributes: str = "", octave: int = 5, before: str = "") -> str:
    return f"<note><grace {attributes}/>{before}<pitch><step>{step}</step><octave>{octave}</octave></pitch></note>"


def score(*measures: str, numbers: list[str] | None = None, parts: str = "", names: str = "") -> bytes:
    """A score of a part P1 called Fiddle, with `parts` after it and their `names` in the part list."""
    numbers = numbers or [f'number="{number}"' for number in range(1, len(measures) + 1)]
    body = "".join(f"<measure {number}>{measure}</measure>" for number, measure in zip(numbers, measures, strict=True))
    listed = f"<part-list><score-part id='P1'><part-name>Fiddle</part-name></score-part>{names}</part-list>"
    return f"<score-partwise>{listed}<part id='P1'>{body}</part>{parts}</score-partwise>".encode()


def another(part_id: str, *measures: str) -> str:
    body = "".join(f"<measure number='{number}'>{measure}</measure>" for number, measure in enumerate(measures, 1))
    return f"<part id='{part_id}'>{body}</part>"


def called(part_id: str, name: str) -> str:
    return f"<score-part id='{part_id}'><part-name>{name}</part-name></score-part>"


def read(data: bytes, part: str | int | None = None, voice: str | None = None) -> Tune:
    return read_musicxml(open_musicxml(data)[0], "t", Choice(part=None if part is None else str(part), voice=voice))


def heads(data: bytes) -> list[tuple[float, float, int]]:
    return [(float(n.onset_q), float(n.duration_q), n.midi) for n in read(data).notes]


def keys(*measures: str) -> list[int]:
    return [midi for _, _, midi in heads(score(*measures))]


def said(data: bytes) -> str:
    """All warnings and remarks."""
    tune = read(data)
    return "\n".join(tune.warnings + tune.remarks)


def sound(**attributes: str) -> str:
    inside = " ".join(f'{name.replace("_", "-")}="{value}"' for name, value in attributes.items())
    return f"<direction><direction-type><words/></direction-type><sound {inside}/></direction>"


def words(text: str, more: str = "") -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type>{more}</direction>"


def ending(number: str, kind: str, repeat: str = "") -> str:
    side = "left" if kind == "start" else "right"
    return f'<barline location="{side}"><ending number="{number}" type="{kind}"/>{repeat}</barline>'


def letters(*measures: str) -> str:
    """The notes as played, by letter; measures of one note each from C5 to B5."""
    names = {72: "C", 74: "D", 76: "E", 77: "F", 79: "G", 81: "A", 83: "B"}
    return "".join(names[midi] for midi in keys(*measures))
