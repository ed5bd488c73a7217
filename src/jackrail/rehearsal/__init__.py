"""The rehearsal: the firmware plays a roll on an emulated chip, before a modelled machine."""
