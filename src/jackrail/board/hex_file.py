"""Intel HEX, the form in which every uploader takes a flash image; read and written by the library for it."""

from __future__ import annotations

from collections.abc import Mapping
from io import StringIO

from jackrail.faults import BadInput, Fault

LONGEST_B = 32768
"""Flash of the chip; addresses beyond it are refused before memory is taken for them."""
_END_RECORD = ":00000001FF"


def write_hex(parts: Mapping[int, bytes]) -> str:
    """The text of an Intel HEX file with each part at its address, 16 bytes a record, lines ended by LF."""
    from intelhex import IntelHex  # noqa: PLC0415 - only who flashes needs it

    made, out = IntelHex(), StringIO()
    for address, data in parts.items():
        made.puts(address, data)
    made.write_hex_file(out, eolstyle="native")
    return out.getvalue().replace("\r\n", "\n")


def read_hex(text: str) -> bytes:
    """What the file puts into flash from address 0, with 0xFF where it puts nothing.

    Raises BadInput for a text that is not Intel HEX, is damaged, cut short, writes a byte twice, or goes beyond the flash.
    """
    from intelhex import HexReaderError, IntelHex  # noqa: PLC0415

    if not text.lstrip().startswith(":"):
        raise BadInput(Fault("format", "is not an Intel HEX file", hint="each of its lines begins with a colon"))
    read = IntelHex()
    try:
        read.loadhex(StringIO(text))
    except HexReaderError as error:
        raise BadInput(Fault("syntax", f"is a damaged Intel HEX file: {error}", hint="make the file anew")) from None
    if _END_RECORD not in text.upper():
        raise BadInput(Fault("syntax", "is an Intel HEX file without its last line", limit=_END_RECORD, hint="the file was cut short"))
    last = read.maxaddr()
    if last is None:
        raise BadInput(Fault("format", "is an Intel HEX file without any data"))
    if last >= LONGEST_B:
        raise BadInput(Fault("range", "writes beyond the flash", value=f"address {last:#x}", limit=f"below {LONGEST_B:#x}"))
    return bytes(read.tobinarray(start=0))
