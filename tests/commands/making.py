"""Commands as they are typed."""

from pathlib import Path

import pytest

from playalong.commands.main import main


def code_and_errors(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str]:
    """How a command ends, and what it says on standard error."""
    code = main([str(argument) for argument in arguments])
    return code, capsys.readouterr().err
