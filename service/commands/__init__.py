"""The commands, a module each: ``add_arguments(parser)`` and ``run(**arguments) -> exit code``."""


class CommandFault(Exception):  # noqa: N818 - the person's input is at fault, not the program
    """What stops a command, as one line that says what, where, and how to mend it."""
