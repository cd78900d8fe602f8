"""What is said where a library of an extra is asked for and is not there."""

from __future__ import annotations


class MissingExtraError(ImportError):
    """A library that only an extra of the package brings is not installed."""

    def __init__(self, what: str, library: str, extra: str) -> None:
        super().__init__(
            f"{what} needs {library}, which is not installed here: "
            f"pip install 'warmbranch[{extra}]'.",
            name=library,
        )
