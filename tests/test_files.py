import os
import signal
import subprocess
import sys
import textwrap

import pytest

from locbench.errors import OutputError
from locbench.files import staged_directory


def _names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_files_appear_together_and_others_stay(tmp_path):
    (tmp_path / "mine.txt").write_text("kept")
    (tmp_path / "a.txt").write_text("old")
    with staged_directory(tmp_path) as stage:
        (stage / "a.txt").write_text("new")
        (stage / "b.txt").write_text("new")
        assert (tmp_path / "a.txt").read_text() == "old"
    assert _names(tmp_path) == ["a.txt", "b.txt", "mine.txt"]
    assert (tmp_path / "a.txt").read_text() == "new"


def test_an_error_leaves_everything_as_it_was(tmp_path):
    (tmp_path / "a.txt").write_text("old")

    def interrupted():
        with staged_directory(tmp_path) as stage:
            (stage / "a.txt").write_text("half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert _names(tmp_path) == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "old"


def test_a_folder_made_for_nothing_is_removed(tmp_path):
    target = tmp_path / "new" / "deep"

    with pytest.raises(RuntimeError), staged_directory(target):
        raise RuntimeError
    assert not target.exists()


def test_a_file_in_the_way_is_one_clear_error(tmp_path):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(OutputError, match="cannot write there"), staged_directory(tmp_path / "taken"):
        pass


@pytest.mark.skipif(os.name != "posix", reason="kill signals as on posix")
def test_a_kill_during_writing_leaves_the_old_results_whole(tmp_path):
    (tmp_path / "results.json").write_text("old")
    script = textwrap.dedent(
        """
        import sys, time
        from pathlib import Path
        from locbench.files import staged_directory
        with staged_directory(Path(sys.argv[1])) as stage:
            (stage / "results.json").write_text("half")
            print("writing", flush=True)
            time.sleep(60)
        """
    )
    process = subprocess.Popen([sys.executable, "-c", script, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "writing\n"
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdout.close()
    assert (tmp_path / "results.json").read_text() == "old"
    # a later run sweeps up what the killed one left
    (left,) = (path for path in tmp_path.iterdir() if path.is_dir())
    os.utime(left, (0, 0))
    with staged_directory(tmp_path) as stage:
        (stage / "results.json").write_text("new")
    assert _names(tmp_path) == ["results.json"]
