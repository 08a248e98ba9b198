"""The faults a user can meet: every one carries a finished sentence, and the command line prints nothing
else."""


class BedsimError(Exception):
    """Base of all faults that are told to the user without a traceback."""

    exit_code = 2


class InputError(BedsimError):
    """A file or an option that cannot be used: names the file, the key, the value and what is allowed."""


class UnreadableError(InputError):
    """A text file that cannot be read; `why` is the reason alone."""

    def __init__(self, name: object, why: str) -> None:
        super().__init__(f"{name}: {why}.")
        self.why = why


class ResultFileError(BedsimError):
    """A result file that is foreign, truncated, newer than this program or already being written."""


class ModelError(BedsimError):
    """A machine that cannot be computed: a loose motion, collinear mounts, too few screws."""


class EngineRefusalError(BedsimError):
    """An engine met content it does not carry; the sentence names the engine, the content and who can."""


class SolverError(BedsimError):
    """A solver did not finish; the inner solver's own message is kept."""

    exit_code = 3
