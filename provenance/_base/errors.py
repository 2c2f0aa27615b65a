"""The one family of errors that a person is meant to read."""


class TreenailError(Exception):
    """Something a person can mend; its text says what was found, where, and what to do.

    `exit_code` is what the command line ends with: 2 for input that cannot be used.
    """

    exit_code = 2


class UnreadableValue(TreenailError, ValueError):
    """A written value that does not say what the field needs.

    `value` is the text as found, `expected` says what would be read instead.
    """

    def __init__(self, value: object, expected: str) -> None:
        self.value = "" if value is None else str(value)
        self.expected = expected
        super().__init__(f'"{self.value}" {expected}')


class UnusableSchema(TreenailError):
    """A schema, vocabulary or profile that contradicts itself or the standard it follows."""


class UnusablePackage(TreenailError):
    """A folder that is not, or no longer, a package of this project."""


class UnknownName(UnusablePackage, KeyError):
    """A table or field that the model of this record does not have."""

    # a KeyError shows its text as Python writes a string
    __str__ = Exception.__str__


class UnusableInput(TreenailError):
    """A file handed in that cannot be read at all."""


class AlreadyThere(TreenailError):
    """Writing would replace something that a person may still want."""
