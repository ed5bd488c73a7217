"""The MIDI files of tests/tune/cases that are ours, row by row; cases/midi.json holds their answers, worked out by hand.

To write them anew: python tests/tune/test_tune_midi_cases.py
"""

from pathlib import Path

import pytest
from midi_files import Q, chord, file, hexes, in_order, key, melody, meta, metre, name, note, tempo, track

FOLDER = Path(__file__).parent / "cases"
START = [tempo(0, 120), metre(0, 4, 4), key(0, 0)]
C, D, E, F, G, A, B = 60, 62, 64, 65, 67, 69, 71
TUNE = [(Q, C + 12), (Q, E + 12), (Q, G), (Q, E), (Q, F), (Q, A), (2 * Q, C + 12), (Q, B), (Q, D + 12), (Q, G), (Q, B), (4 * Q, C + 12)]
FOUR_CHORDS = [
    chord(0, 4 * Q, (48, 52, 55)),
    chord(4 * Q, 8 * Q, (53, 57, 60)),
    chord(8 * Q, 12 * Q, (55, 59, 62)),
    chord(12 * Q, 16 * Q, (48, 52, 55)),
]


def on_channel(rows: list[tuple[int, bytes]], channel: int) -> list[tuple[int, bytes]]:
    return [(tick, bytes([event[0] & 0xF0 | channel - 1]) + event[1:]) for tick, event in rows]


FOUR_CHORDS_ROWS = [row for rows in FOUR_CHORDS for row in rows]

# Late and early by hand, in ticks: a reel bar of four eighths and two quarters, four times.
OFF = (7, -9, 4, 11, -5, 8, -12, 6, 9, -7, 13, -4, 5, 10, -8, 12, -6, 7, 9, -11, 4, 8, -9, 6)
REEL = [
    (n // 6 * 4 * Q + at, length, 60 + n % 6)
    for n, (at, length) in enumerate([(0, 240), (240, 240), (480, 240), (720, 240), (960, 480), (1440, 480)] * 4)
]

GOOD = {
    # melody above, block chords below: harmony told from the second track
    "m20_two_tracks.mid": file(
        track(*START), track(name("flute"), melody(0, TUNE)), track(name("guitar"), on_channel(FOUR_CHORDS_ROWS, 2))
    ),
    # one track, three channels: bass on 2, melody on 3, drums on 10
    "m21_channels.mid": file(
        track(
            *START,
            hexes(0, "C1 20"),
            hexes(0, "C2 28"),
            melody(0, [(4 * Q, 36), (4 * Q, 41)], 2),
            melody(0, [(Q, 72), (Q, 74), (2 * Q, 76), (Q, 77), (Q, 76), (2 * Q, 74)], 3),
            melody(0, [(Q, 38)] * 8, 10),
        )
    ),
    # a hand of piano: the melody and chords under it in one channel
    "m22_skyline.mid": file(
        track(
            *START,
            melody(0, [(2 * Q, 76), (2 * Q, 74), (4 * Q, 72)]),
            chord(Q, 2 * Q, (60, 64)),
            chord(3 * Q, 4 * Q, (59, 62, 67)),
            chord(4 * Q, 8 * Q, (48, 52, 55)),
        )
    ),
    # 60: struck again at 1 with its release at that tick; 62: two lines meet, two releases; 64: a release is missing
    "m23_struck_again.mid": file(
        in_order(
            [
                *START,
                hexes(0, "90 3C 50"),
                hexes(480, "90 3C 50"),
                hexes(480, "80 3C 00"),
                hexes(960, "80 3C 00"),
                hexes(960, "90 3E 50"),
                hexes(1440, "90 3E 50"),
                hexes(1680, "80 3E 00"),
                hexes(1920, "80 3E 00"),
                hexes(1920, "90 40 50"),
                hexes(2400, "90 40 50"),
                hexes(2880, "80 40 00"),
                hexes(3360, "90 40 50"),
                hexes(3840, "80 40 00"),
            ]
        )
    ),
    # 3/4 comes two and a half quarters into the second bar of 4/4
    "m24_metre_in_a_bar.mid": file(
        track(tempo(0, 120), metre(0, 4, 4), key(0, 0), metre(6 * Q + 240, 3, 4), melody(0, [(6 * Q + 240, C), (3 * Q, D), (3 * Q, E)]))
    ),
    # an upbeat as notation programs write it
    "m25_upbeat.mid": file(
        track(tempo(0, 120), metre(0, 1, 4), metre(Q, 3, 4), key(0, 1), melody(0, [(Q, D), (3 * Q, G), (2 * Q, B), (Q, A), (3 * Q, G)]))
    ),
    # no tempo before the second bar; then 90, and in the same tick after all 60; the tempo stands in the second track
    "m26_tempo_map.mid": file(
        track(metre(0, 2, 4), key(0, 0)),
        track(tempo(2 * Q, 90), tempo(2 * Q, 60), tempo(4 * Q, 150), melody(0, [(2 * Q, C), (2 * Q, D), (2 * Q, E)])),
    ),
    # 29.97 frames a second, 100 ticks each: 3000 ticks are 1.001 s; the tempo means nothing
    "m27_drop_frame.mid": file(track(tempo(0, 60), note(0, 3000, C), note(3000, 4500, D)), division=0xE364),
    # chord symbols as markers, one N.C., one remark at the start
    "m28_written_chords.mid": file(
        track(
            *START, *(meta(tick * Q, 6, text.encode()) for tick, text in [(0, "Intro"), (0, "C"), (4, "Am7"), (8, "N.C."), (12, "G7/B")])
        ),
        track(melody(0, TUNE)),
        track(on_channel(FOUR_CHORDS_ROWS, 2)),
    ),
    # sections A, B, A are no chords
    "m29_sections.mid": file(
        track(*START, *(meta(tick * Q, 6, text.encode()) for tick, text in [(0, "A"), (4, "B"), (8, "A")]), melody(0, TUNE))
    ),
    # format 2: each track is a tune with its own tempo and metre
    "m2a_two_tunes.mid": file(
        track(name("First"), tempo(0, 100), metre(0, 3, 4), key(0, 1), melody(0, [(3 * Q, G), (3 * Q, B)])),
        track(name("Second"), tempo(0, 80), metre(0, 2, 4), key(0, -1), melody(0, [(2 * Q, F), (2 * Q, A), (2 * Q, C)])),
        kind=2,
    ),
    # pedal and pitch bend are not followed; all notes off (controller 123) ends 64
    "m2b_controllers.mid": file(
        in_order(
            [
                *START,
                hexes(0, "B0 40 7F"),
                *note(0, Q, C),
                hexes(Q, "E0 00 50"),
                *note(Q, 2 * Q, D),
                hexes(2 * Q, "90 40 50"),
                hexes(3 * Q, "B0 7B 00"),
                *note(3 * Q, 4 * Q, G),
            ]
        )
    ),
    # system exclusive in two packets, bytes sent by an escape event, an unknown meta event
    "m2c_sysex_packets.mid": file(
        in_order(
            [
                *START,
                hexes(0, "F0 03 43 12 00"),
                hexes(10, "F7 03 43 12 F7"),
                *note(Q, 2 * Q, C),
                hexes(2 * Q, "F7 03 90 30 40"),
                hexes(2 * Q, "FF 60 02 01 02"),
                *note(2 * Q, 3 * Q, D),
            ]
        )
    ),
    "m2d_by_hand.mid": file(
        track(*START, *(note(max(0, at + off), at + length + off, midi) for (at, length, midi), off in zip(REEL, OFF, strict=True)))
    ),
    # the default key of many programs, C major, over a tune in D
    "m2e_doubtful_key.mid": file(
        track(*START, melody(0, [(Q, midi) for midi in (62, 66, 69, 66, 62, 64, 66, 67, 69, 73, 74, 69, 66, 64, 66, 62)]))
    ),
}

ONE = track(note(0, Q, C))
BAD = {
    "b_mid_five_bytes.mid": file(in_order([hexes(0, "90 3C 40")])[:-4] + bytes.fromhex("81 80 80 80 00 80 3C 00")),
    "b_mid_system.mid": file(in_order([hexes(0, "90 3C 40"), hexes(9, "F1 00")])),
    "b_mid_running_after_meta.mid": file(in_order([hexes(0, "90 3C 40"), hexes(9, "FF 01 00"), hexes(9, "3C 00")])),
    "b_mid_days.mid": file(in_order([hexes(0, "90 3C 40"), hexes(0xFFFFFFF, "80 3C 00")])),
    "b_mid_only_drums.mid": file(track(note(0, Q, 38, 10))),
    "b_mid_frames.mid": file(ONE, division=0xE678),
    "b_mid_format_3.mid": file(ONE, kind=3),
    "b_mid_tracks.mid": file(*[b"MTrk\x00\x00\x00\x00"] * 1001),
    "b_mid_long_sysex.mid": file(in_order([hexes(0, "90 3C 40"), hexes(9, "F0 FF FF FF 7F 41")])),
    "b_mid_stray_release.mid": file(track(hexes(0, "80 40 00"), note(0, Q, C))),
    "b_mid_no_length.mid": file(in_order([*note(0, Q, C), *note(Q, Q, D)])),
    "b_mid_struck_twice.mid": file(in_order([hexes(0, "90 3C 40"), hexes(Q, "90 3C 40"), hexes(2 * Q, "80 3C 00")])),
    "b_mid_tempo_wild.mid": file(track(meta(0, 0x51, b"\x00\x00\x01"), note(0, Q, C))),
}
FILES = {f"good/{file}": data for file, data in GOOD.items()} | {f"bad/{file}": data for file, data in BAD.items()}


@pytest.mark.parametrize("path", FILES)
def test_a_file_holds_what_stands_here(path):
    assert (FOLDER / path).read_bytes() == FILES[path]


if __name__ == "__main__":
    for path, data in FILES.items():
        (FOLDER / path).write_bytes(data)
