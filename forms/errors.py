"""What can go wrong, sorted by what the person can do about it. Imports nothing."""


class ShortpencilError(Exception):
    """Root of every error a person is meant to read; its text says expected, found, and what to do."""


class LayoutError(ShortpencilError):
    """The form asks for more than the sheet holds, or contradicts itself: change the form."""


class PhotoError(ShortpencilError):
    """The picture is readable as a file but shows no card that can be read: take it again."""


class RecordError(ShortpencilError):
    """The store refuses, is damaged, or is not a store."""


class OutOfReach(RecordError):
    """A store cannot be opened, read or written as things stand, which says nothing of what is in it."""


class ForeignStore(RecordError):
    """What lies at a store's place is another program's, or a newer version's: not for this one to judge."""


class NotThere(RecordError):
    """The store has nothing of that name: no such card, round, answer or field map."""


class InputError(ShortpencilError):
    """A file or an option is not what it must be."""
