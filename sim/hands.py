"""What a person must not do with hands at this machine."""


class HandsRefusedError(RuntimeError):
    """A person would have put a hand near an electrode that is not proven isolated, or into a moving machine."""
