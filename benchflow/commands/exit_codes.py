"""The exit codes of the commands, and the lines about them in the help."""

SUCCESS = 0
PROBLEM_FOUND = 1
"""The command worked and found a problem, such as an error in a procedure or a damaged log."""
CANNOT_RUN = 2
"""The command cannot be carried out: there is no such command, option, file or folder."""
INTERNAL_ERROR = 70
"""EX_SOFTWARE of sysexits."""
INTERRUPTED = 130
"""Interrupted at the keyboard: 128 + SIGINT, the convention of shells."""


def exit_code_help(problem: str = "") -> str:
    """The list of exit codes for the help of a command.

    ``problem`` describes what exit code 1 means for this command. A command that never ends with 1 gives none.
    """
    lines = ["\b", "Exit codes:", "  0    Success."]
    if problem:
        lines.append(f"  1    {problem}")
    lines += [
        "  2    The command cannot be carried out.",
        "  70   Internal error.",
        "  130  Interrupted at the keyboard.",
    ]
    return "\n".join(lines)
