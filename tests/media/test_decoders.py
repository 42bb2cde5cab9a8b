from __future__ import annotations

import os
import warnings

import pytest

from litlamp.media.decoders import overheard, tells_of_damage


def test_a_decoders_line_is_kept_and_not_shown(capfd: pytest.CaptureFixture[str]) -> None:
    with overheard() as said:
        os.write(2, b"Corrupt JPEG data: premature end of data segment\n")
    assert said == ["Corrupt JPEG data: premature end of data segment"]
    assert capfd.readouterr().err == ""


def test_anothers_line_is_passed_on(capfd: pytest.CaptureFixture[str]) -> None:
    with overheard():
        os.write(2, b"progress of another thread\n")
    assert capfd.readouterr().err == "progress of another thread\n"


def test_standard_error_comes_back_after_a_fault(capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ValueError, match="inside"), overheard():
        raise ValueError("inside")
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "after\n"


def test_warnings_are_hushed() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with overheard():
            warnings.warn("Corrupt EXIF data", stacklevel=1)


def test_what_counts_as_damage() -> None:
    assert tells_of_damage(["Corrupt JPEG data: bad Huffman code"])
    assert tells_of_damage(["Premature end of JPEG file"])
    assert tells_of_damage(["Fax4Decode: Bad code word at line 5 of strip 0 (x 55)."])
    assert not tells_of_damage(["Warning: unknown JFIF revision number 55.218"])
    assert not tells_of_damage(["TIFFReadDirectory: Warning, Unknown field with tag 33000"])
    assert not tells_of_damage([])
