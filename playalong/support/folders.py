"""The user's own folders on this system."""

from pathlib import Path

import platformdirs

_NAME = "playalong"


def user_config() -> Path:
    """Where earlier versions kept settings and profiles."""
    return platformdirs.user_config_path(_NAME)


def user_data() -> Path:
    """Where the store and the takes are."""
    return platformdirs.user_data_path(_NAME)
