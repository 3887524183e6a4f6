"""Sound files in: formats of several programs, broken files, files that are none, and memory."""

from __future__ import annotations

import io
import os
import shutil
import socket
import struct
import subprocess
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from tensionear.capture.checks import checked
from tensionear.capture.files import open_sound
from tensionear.capture.recording import AudioSource, Samples
from tensionear.errors import SoundError

RATE = 48_000
PLUCK_HZ = 440.0


def plucks(rate: int = RATE, seconds: float = 3.0) -> NDArray[np.float64]:
    at_s = np.arange(round(rate * seconds)) / rate
    return 0.5 * np.sin(2 * np.pi * PLUCK_HZ * at_s) * np.exp(-3.0 * (at_s % 1.0))


def whole(source: AudioSource) -> Samples:
    return np.concatenate(list(source.blocks()))


def pitch_hz(sound: Samples, rate_hz: float) -> float:
    spectrum = np.abs(np.fft.rfft(sound[:, 0] * np.hanning(len(sound))))
    return float(np.argmax(spectrum)) * rate_hz / len(sound)


def run(program: str, *arguments: str | Path) -> None:
    if shutil.which(program) is None:
        pytest.skip(f"{program} is not installed")
    subprocess.run([program, *arguments], check=True, capture_output=True, stdin=subprocess.DEVNULL)


def convert(path: Path, *options: str) -> Path:
    """Write the plucks with FFmpeg, whose coders are not those of this package's readers for WAV, FLAC and OGG."""
    wav = path.with_name("source.wav")
    soundfile.write(wav, plucks(), RATE)
    run("ffmpeg", "-v", "error", "-y", "-i", wav, *options, path)
    return path


class FailingDisk(io.BufferedReader):
    """A file that can be read up to a place and not beyond."""

    def __init__(self, raw: io.FileIO, good_bytes: int) -> None:
        super().__init__(raw)
        self._good_bytes = good_bytes

    def read(self, size: int | None = -1, /) -> bytes:
        if self.tell() >= self._good_bytes:
            raise OSError(5, "Input/output error")
        return super().read(size)


@pytest.fixture
def wav(tmp_path: Path) -> Path:
    path = tmp_path / "round.wav"
    soundfile.write(path, plucks(), RATE)
    return path


@pytest.mark.parametrize(
    ("ending", "subtype", "step"),
    [
        ("wav", "PCM_U8", 2**-7),
        ("wav", "PCM_16", 2**-15),
        ("wav", "PCM_24", 2**-23),
        ("wav", "PCM_32", 2**-23),
        ("wav", "FLOAT", 2**-23),
        ("wav", "DOUBLE", 2**-23),
        ("flac", "PCM_16", 2**-15),
        ("flac", "PCM_24", 2**-23),
        ("aiff", "PCM_16", 2**-15),
    ],
)
def test_lossless_files_give_the_samples_written(tmp_path: Path, ending: str, subtype: str, step: float) -> None:
    path = tmp_path / f"round.{ending}"
    soundfile.write(path, plucks(), RATE, subtype=subtype)
    source = open_sound(path)
    assert (source.name, source.sample_rate_hz, source.channels) == (str(path), RATE, 1)
    sound = whole(source)
    assert sound.dtype == np.float32
    assert np.abs(sound[:, 0] - plucks()).max() <= step
    assert source.notes() == ()


@pytest.mark.parametrize("subtype", ["VORBIS", "OPUS"])
def test_ogg_is_read_whole(tmp_path: Path, subtype: str) -> None:
    path = tmp_path / "round.ogg"
    soundfile.write(path, plucks(), RATE, format="OGG", subtype=subtype)
    source = open_sound(path)
    assert len(whole(source)) == 3 * RATE
    assert source.notes() == ()


@pytest.mark.parametrize("channels", [1, 2, 6, 300])
@pytest.mark.parametrize("rate", [16_000, 44_100])
def test_any_channel_count_and_rate(tmp_path: Path, channels: int, rate: int) -> None:
    path = tmp_path / "round.wav"
    sound = plucks(rate, 0.7)[:, None] * np.linspace(0.1, 1.0, channels)
    soundfile.write(path, sound, rate, subtype="FLOAT")
    source = open_sound(path)
    assert (source.sample_rate_hz, source.channels) == (rate, channels)
    np.testing.assert_array_equal(whole(source), sound.astype(np.float32))


def test_the_highest_rate_is_read(tmp_path: Path) -> None:
    path = tmp_path / "round.wav"
    soundfile.write(path, plucks(384_000, 0.1), 384_000)
    assert len(whole(open_sound(path))) == 38_400


@pytest.mark.parametrize(
    ("name", "options", "longer_by_up_to"),
    [
        ("memo.m4a", ["-c:a", "aac"], 2048),
        ("memo.3gp", ["-c:a", "aac"], 2048),
        ("memo.aac", ["-c:a", "aac"], 4096),
        ("lossless.m4a", ["-c:a", "alac"], 0),
        ("memo.webm", ["-c:a", "libopus"], 0),
        ("memo.mp3", ["-c:a", "libmp3lame", "-q:a", "3"], 1),
        ("constant.mp3", ["-c:a", "libmp3lame", "-b:a", "128k"], 1),
        ("layer2.mp2", [], 2304),
        ("round.ogg", ["-c:a", "libvorbis"], 0),
        ("round.flac", [], 0),
        ("round.wav", ["-c:a", "pcm_s24le"], 0),
        ("big-endian.aiff", ["-c:a", "pcm_s24be"], 0),
        ("round.caf", ["-c:a", "pcm_s16le"], 0),
        ("stereo.m4a", ["-c:a", "aac", "-af", "pan=stereo|c0=c0|c1=c0"], 2048),
        ("low.mp3", ["-c:a", "libmp3lame", "-ar", "16000"], 1),
    ],
)
def test_files_written_by_ffmpeg(tmp_path: Path, name: str, options: list[str], longer_by_up_to: int) -> None:
    source = open_sound(convert(tmp_path / name, *options))
    sound = whole(source)
    assert source.channels == (2 if name.startswith("stereo") else 1)
    assert 0 <= len(sound) - 3 * source.sample_rate_hz <= longer_by_up_to
    assert pitch_hz(sound, source.sample_rate_hz) == pytest.approx(PLUCK_HZ, abs=0.5)
    assert np.abs(sound).max() == pytest.approx(0.5, abs=0.05)
    assert source.notes() == ()


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("round.wav", ["-b", "16"]),
        ("unsigned.wav", ["-b", "8", "-e", "unsigned-integer"]),
        ("float.wav", ["-b", "32", "-e", "floating-point"]),
        ("round.flac", []),
        ("round.ogg", []),
        ("constant.mp3", ["-C", "128"]),
        ("variable.mp3", ["-C", "-4.2"]),
    ],
)
def test_files_written_by_sox(tmp_path: Path, name: str, options: list[str]) -> None:
    path = tmp_path / name
    run("sox", "-R", "-n", "-r", "44100", *options, path, "synth", "2", "sine", "440", "vol", "0.5")
    source = open_sound(path)
    sound = whole(source)
    assert len(sound) == pytest.approx(88_200, abs=2500)
    assert pitch_hz(sound, source.sample_rate_hz) == pytest.approx(440.0, abs=0.5)


def test_variable_rate_mp3_is_the_same_in_blocks_as_in_one_piece(tmp_path: Path) -> None:
    path = convert(tmp_path / "memo.mp3", "-c:a", "libmp3lame", "-q:a", "2")
    decoded = tmp_path / "decoded.wav"
    run("ffmpeg", "-v", "error", "-i", path, "-c:a", "pcm_f32le", decoded)
    reference, _ = soundfile.read(decoded, dtype="float32")
    sound = whole(open_sound(path))[:, 0]
    frames = min(len(sound), len(reference))
    assert np.abs(sound[:frames] - reference[:frames]).max() < 1e-4


def test_the_content_counts_and_not_the_name(tmp_path: Path, wav: Path) -> None:
    disguised = wav.rename(tmp_path / "round.mp3")
    assert len(whole(open_sound(disguised))) == 3 * RATE
    memo = convert(tmp_path / "memo.m4a", "-c:a", "aac").rename(tmp_path / "memo.wav")
    assert open_sound(memo).sample_rate_hz == RATE


def test_odd_tags_do_no_harm(tmp_path: Path) -> None:
    path = convert(
        tmp_path / "memo.mp3",
        "-c:a",
        "libmp3lame",
        "-metadata",
        "title=[x] \N{BELL} caf\N{LATIN SMALL LETTER E WITH ACUTE}",
    )
    path.write_bytes(path.read_bytes().replace("\N{LATIN SMALL LETTER E WITH ACUTE}".encode(), b"\xff\xfe"))
    assert len(whole(open_sound(path))) >= 3 * RATE


@pytest.mark.parametrize("name", ["round.wav", "round.flac", "round.ogg"])
def test_blocks_can_be_read_again(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    soundfile.write(path, plucks(), RATE)
    source = open_sound(path)
    half_read = source.blocks()
    next(half_read)
    first, second = whole(source), whole(source)
    np.testing.assert_array_equal(first, second)


def test_memo_blocks_can_be_read_again(tmp_path: Path) -> None:
    source = open_sound(convert(tmp_path / "memo.m4a", "-c:a", "aac"))
    np.testing.assert_array_equal(whole(source), whole(source))
    assert all(RATE <= len(block) < 1.1 * RATE for block in list(source.blocks())[:-1])


def test_lengths_left_open_by_a_pipe_are_no_fault(tmp_path: Path) -> None:
    for name, form in (("piped.wav", "wav"), ("piped.flac", "flac")):
        path = convert(tmp_path / "round.wav", "-c:a", "pcm_s16le")
        piped = subprocess.run(
            ["ffmpeg", "-v", "error", "-i", path, "-f", form, "pipe:1"], check=True, capture_output=True
        ).stdout
        (tmp_path / name).write_bytes(piped)
        source = open_sound(tmp_path / name)
        assert len(whole(source)) == 3 * RATE
        assert source.notes() == ()


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("round.wav", ["-c:a", "pcm_s16le"]),
        ("round.flac", []),
        ("round.ogg", ["-c:a", "libvorbis"]),
        ("memo.mp3", ["-c:a", "libmp3lame", "-q:a", "3"]),
        ("memo.aac", ["-c:a", "aac"]),
        ("memo.m4a", ["-c:a", "aac", "-movflags", "+faststart"]),
        ("memo.webm", ["-c:a", "libopus"]),
    ],
)
def test_a_file_cut_off_is_read_to_where_it_ends_and_says_so(tmp_path: Path, name: str, options: list[str]) -> None:
    path = convert(tmp_path / name, *options)
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 6 // 10])
    source = open_sound(path)
    assert 0.3 * 3 * RATE < len(whole(source)) < 0.8 * 3 * RATE
    (note,) = source.notes()
    assert "ends early" in note
    whole(source)
    assert source.notes() == (note,)


def test_a_memo_that_was_never_finished(tmp_path: Path) -> None:
    path = convert(tmp_path / "memo.m4a", "-c:a", "aac")
    path.write_bytes(path.read_bytes()[:20_000])
    with pytest.raises(SoundError, match=r"memo\.m4a is broken or was never finished .*; record again"):
        open_sound(path)


def test_damage_in_the_middle_is_said(tmp_path: Path) -> None:
    path = convert(tmp_path / "memo.m4a", "-c:a", "aac")
    content = bytearray(path.read_bytes())
    start = content.index(b"mdat") + 8000
    content[start : start + 3000] = b"\xff" * 3000
    path.write_bytes(content)
    source = open_sound(path)
    whole(source)
    assert "the file is damaged" in source.notes()[0]


def test_a_film_without_sound(tmp_path: Path) -> None:
    path = tmp_path / "film.mp4"
    run("ffmpeg", "-v", "error", "-f", "lavfi", "-i", "color=size=16x16:duration=0.2", "-c:v", "mpeg4", path)
    with pytest.raises(SoundError, match=r"film\.mp4 holds no sound track"):
        open_sound(path)


def test_a_wav_that_was_never_finished_names_the_repair_and_the_repair_works(wav: Path) -> None:
    content = bytearray(wav.read_bytes())
    at = content.index(b"data")
    content[at + 4 : at + 8] = bytes(4)
    broken = wav.with_name("my round.wav")
    broken.write_bytes(content)
    with pytest.raises(
        SoundError, match=r"never finished: .* 288000 bytes follow.*sox --ignore-length '.*my round.wav'"
    ):
        open_sound(broken)
    repaired = wav.with_name("repaired.wav")
    run("sox", "--ignore-length", broken, repaired)
    np.testing.assert_array_equal(whole(open_sound(repaired)), whole(open_sound(wav)))


def riff(rate: int, data: bytes, stated: int | None = None) -> bytes:
    """A WAV file of 16 bit mono by hand."""
    form = struct.pack("<HHIIHH", 1, 1, rate, 2 * rate & 0xFFFFFFFF, 2, 16)
    body = (
        b"WAVEfmt "
        + struct.pack("<I", 16)
        + form
        + b"data"
        + struct.pack("<I", len(data) if stated is None else stated)
    )
    return b"RIFF" + struct.pack("<I", len(body) + len(data)) + body + data


SOUND_BYTES = np.full(40_000, 1000, dtype="<i2").tobytes()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", r"is empty \(0 bytes\); record again"),
        (b"nothing of a sound\n" * 50, "is not a sound file; WAV, FLAC"),
        (b"\x00" * 5000, "is not a sound file"),
        (b"#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nhttp://127.0.0.1:9/a.ts\n", "is not a sound file"),
        (b"ffconcat version 1.0\nfile other.wav\n", "is not a sound file"),
        ("Spannung".encode("utf-16"), "is not a sound file"),
        (b"\x89PNG\r\n\x1a\n" + bytes(300), "is not a sound file"),
        (b"R", "is not a sound file"),
        (b"RIFF", "is broken or of an unknown coding"),
        (b"fLaC" + bytes(100), "is broken or of an unknown coding"),
        (b"OggS" + bytes(100), "is broken or was never finished"),
        (b"\x1a\x45\xdf\xa3" + bytes(100), "is broken or was never finished|holds no sound"),
        (b"\xff\xfb\x90\x00" + b"\x55" * 20, "is broken or was never finished|holds no sound"),
        (b"ID3\x04\x00\x00\x00\x00\x00\x10" + bytes(200), "is broken or was never finished|holds no sound"),
        (riff(48_000, b""), "holds no sound"),
        (riff(48_000, b"", 1000), "holds no sound"),
        (riff(48_000, SOUND_BYTES)[:40], "is broken or of an unknown coding|holds no sound"),
        (riff(48_000, SOUND_BYTES, 0), "was never finished"),
        (riff(1, SOUND_BYTES), "sample rate of 1 Hz; 16000 to 384000 Hz is read: its header is broken"),
        (riff(3_000_000, SOUND_BYTES), "sample rate of 3000000 Hz; 16000 to 384000 Hz is read: its header is broken"),
        (riff(8_000, SOUND_BYTES), "sample rate of 8000 Hz; .* overtones of a spoke .* record again at 44100"),
        (riff(0, SOUND_BYTES), "is broken or of an unknown coding"),
    ],
)
def test_files_that_are_refused_at_once_in_one_line(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "given.wav"
    path.write_bytes(content)
    with pytest.raises(SoundError, match=message) as caught:
        open_sound(path)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (np.nan, r"not a number \(NaN\) at 1\.500 s in channel 2; export"),
        (np.inf, r"infinite sample at 1\.500 s in channel 2; export"),
        (-np.inf, r"infinite sample at 1\.500 s in channel 2; export"),
        (1e30, r"1e\+30 times full scale at 1\.500 s in channel 2; up to 4 is allowed"),
        (-4.5, r"-4\.5 times full scale at 1\.500 s in channel 2"),
    ],
)
def test_samples_that_are_not_sound_are_refused_with_their_place(tmp_path: Path, bad: float, message: str) -> None:
    path = tmp_path / "round.wav"
    sound = np.column_stack([plucks(), plucks()])
    sound[72_000, 1] = bad
    soundfile.write(path, sound, RATE, subtype="DOUBLE" if bad == 1e30 else "FLOAT")
    with pytest.raises(SoundError, match=message):
        whole(open_sound(path))


def test_a_float_recording_a_little_over_full_scale_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "round.wav"
    soundfile.write(path, 5.0 * plucks(), RATE, subtype="FLOAT")
    assert np.abs(whole(open_sound(path))).max() > 2.4


def test_silence_is_told_when_the_blocks_have_run_out(tmp_path: Path) -> None:
    path = tmp_path / "round.wav"
    soundfile.write(path, np.zeros((2 * RATE, 2)), RATE)
    blocks = open_sound(path).blocks()
    assert len(next(blocks)) > 0
    with pytest.raises(
        SoundError, match=r"round\.wav is silent: all 2\.0 s are exactly zero; the microphone was muted"
    ):
        list(blocks)


def test_one_sample_that_is_not_zero_is_no_silence() -> None:
    block = np.zeros((100, 2), dtype=np.float32)
    block[50, 1] = -1e-6
    assert len(list(checked([block, np.zeros_like(block)], "array", 48_000.0))) == 2


def test_nothing_at_all_is_told_too() -> None:
    with pytest.raises(SoundError, match="array holds no sound"):
        list(checked([np.empty((0, 1), dtype=np.float32)], "array", 48_000.0))


def test_what_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(SoundError, match="is a directory; name the sound files in it"):
        open_sound(tmp_path)
    with pytest.raises(SoundError, match=r"missing\.wav does not exist; check the name"):
        open_sound("missing.wav")
    (tmp_path / "a.txt").write_text("a")
    with pytest.raises(SoundError, match="does not exist"):
        open_sound(tmp_path / "a.txt" / "round.wav")
    with pytest.raises(SoundError, match="cannot be opened"):
        open_sound("null\0byte.wav")
    with pytest.raises(SoundError, match="cannot be opened"):
        open_sound("n" * 5000)


@pytest.mark.skipif(os.name != "posix", reason="pipes and sockets in the file system are POSIX")
def test_pipes_sockets_and_devices_are_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(SoundError, match="is not a regular file"):
        open_sound(tmp_path / "pipe.wav")
    with pytest.raises(SoundError, match="is not a regular file"):
        open_sound("/dev/zero")
    with socket.socket(socket.AF_UNIX) as end:
        end.bind(str(tmp_path / "s.wav"))
        with pytest.raises(SoundError, match="is not a regular file"):
            open_sound(tmp_path / "s.wav")


def test_a_file_that_may_not_be_read(wav: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wav.chmod(0)
    if os.access(wav, os.R_OK):  # root may read everything: let the system's answer be the one others get

        def refused(_path: Path, _mode: str = "r") -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(SoundError, match=r"may not be read \(permission denied\); change its permissions"):
        open_sound(wav)


def test_a_file_that_goes_away_between_two_readings(tmp_path: Path) -> None:
    for path in (convert(tmp_path / "memo.m4a", "-c:a", "aac"), convert(tmp_path / "round.flac")):
        source = open_sound(path)
        path.unlink()
        with pytest.raises(SoundError, match="can no longer be read"):
            whole(source)


def test_a_memo_on_a_disk_that_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source = open_sound(convert(tmp_path / "memo.m4a", "-c:a", "alac", "-movflags", "+faststart"))
    monkeypatch.setattr(Path, "open", lambda path, mode: FailingDisk(io.FileIO(path), 30_000))
    with pytest.raises(SoundError, match=r"memo\.m4a can no longer be read .*; check the disk"):
        whole(source)


def test_a_memo_that_changes_its_rate_on_the_way(tmp_path: Path) -> None:
    first = convert(tmp_path / "first.mp3", "-c:a", "libmp3lame")
    second = convert(tmp_path / "second.mp3", "-c:a", "libmp3lame", "-ar", "44100")
    first.write_bytes(first.read_bytes() + second.read_bytes())
    with pytest.raises(SoundError, match="changes its sample rate or channels on the way; convert it to WAV"):
        whole(open_sound(first))


def test_a_name_that_ffmpeg_would_take_for_an_order(tmp_path: Path, wav: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SoundError, match="does not exist"):
        open_sound(f"concat:{wav.name}|{wav.name}")
    memo = convert(tmp_path / "memo.mp3", "-c:a", "libmp3lame")
    memo.rename(tmp_path / "pipe:0.mp3")
    assert len(whole(open_sound("pipe:0.mp3"))) >= 3 * RATE


def test_nothing_is_written_to_the_screen_for_broken_files(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = convert(tmp_path / "memo.mp3", "-c:a", "libmp3lame")
    content = path.read_bytes()
    path.write_bytes(content[:5000] + b"\x55" * 4000 + content[9000:20_000])
    whole(open_sound(path))
    assert capfd.readouterr() == ("", "")


def test_an_hour_needs_no_more_memory_than_a_minute(tmp_path: Path) -> None:
    def write(path: Path, minutes: int) -> Path:
        second = plucks(16_000, 1.0)
        with soundfile.SoundFile(path, "w", 16_000, 1, "PCM_16", format="FLAC") as stream:
            for _ in range(minutes):
                stream.write(np.tile(second, 60))
        return path

    def peak_bytes(source: AudioSource) -> int:
        tracemalloc.start()
        frames = sum(len(block) for block in consumed(source))
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert frames % (60 * 16_000) == 0
        return peak

    def consumed(source: AudioSource) -> Iterator[Samples]:
        yield from source.blocks()

    minute = peak_bytes(open_sound(write(tmp_path / "minute.flac", 1)))
    hour = peak_bytes(open_sound(write(tmp_path / "hour.flac", 60)))
    assert hour < 1.2 * minute + 100_000
