"""The version of the model that answers."""

from importlib.metadata import PackageNotFoundError, version


def _version() -> str:
    try:
        return version("warmbranch")
    except PackageNotFoundError:  # run from a source tree that was never installed
        return "unreleased"


MODEL_VERSION = _version()
