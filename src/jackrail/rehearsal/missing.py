"""What is told when there can be no rehearsal."""


class RigMissing(Exception):  # noqa: N818 -- says what is missing, as BadInput says what is bad
    """What the rig needs is not installed; the text names the Debian packages."""
