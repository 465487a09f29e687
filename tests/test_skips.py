"""The limit on skipped tests: it counts, it fails the run, with and without xdist."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).with_name("conftest.py")
ROOT = CONFTEST.parents[1]

PASSES = "def test_passes(): pass\n"
USES = "def test_uses(shared_data): assert (shared_data / 'here').exists()\n"
SKIPS = "import pytest\ndef test_skips(): pytest.skip('for another reason')\n"
FAILS = "def test_fails(): assert False\n"
SKIPS_AT_IMPORT = "import pytest\npytest.skip('whole file', allow_module_level=True)\n"
OPEN = "def test_open(open_data): assert (open_data.parent / 'conftest.py').exists()\n"
MARKED = "import pytest\n@pytest.mark.skipif(True, reason='mark')\ndef test_marked(): pass\n"
#: Ways to the shared data that are not the fixture.
BY_OTHER_MEANS = re.compile(r"""(/ *|\()["']shared["']|\bshared[/\\]data|SHARED_DATA""")


def run(
    pytester: pytest.Pytester,
    *bodies: str,
    shared: bool,
    arguments: tuple[str, ...] = (),
    ini: str = "",
) -> pytest.RunResult:
    """Run pytest on a small repository, with or without shared data beside it."""
    tests = pytester.path / "repo" / "tests"
    tests.mkdir(parents=True)
    (tests / "conftest.py").write_text(CONFTEST.read_text(encoding="utf-8"), encoding="utf-8")
    for index, body in enumerate(bodies):
        (tests / f"test_{index}.py").write_text(body, encoding="utf-8")
    ini_file = tests.parent / "pytest.ini"
    ini_file.write_text(f"[pytest]\n{ini}\n", encoding="utf-8")
    if shared:
        data = pytester.path / "shared" / "data"
        data.mkdir(parents=True)
        (data / "here").touch()
    everything = ("-p", "no:cacheprovider", "-c", str(ini_file), *arguments, str(tests))
    if "-n" in arguments:  # workers need a process of their own
        return pytester.run(sys.executable, "-m", "pytest", *everything)
    return pytester.runpytest_inprocess(*everything)


@pytest.fixture(params=[(), ("-n", "2")], ids=["alone", "xdist"])
def workers(request: pytest.FixtureRequest) -> tuple[str, ...]:
    """Arguments that run the inner tests in one process or in two workers."""
    return request.param


def test_no_skips_pass(pytester: pytest.Pytester) -> None:
    result = run(pytester, PASSES, USES, shared=True)
    assert result.ret == 0
    result.assert_outcomes(passed=2)


def test_absent_data_skip_and_pass(pytester: pytest.Pytester, workers: tuple[str, ...]) -> None:
    result = run(pytester, PASSES, USES, shared=False, arguments=(*workers, "-rs"))
    assert result.ret == 0
    result.assert_outcomes(passed=1, skipped=1)
    result.stdout.fnmatch_lines(["*shared data absent: no folder ../shared/data"])


def test_skips_fail_where_data_are(pytester: pytest.Pytester, workers: tuple[str, ...]) -> None:
    bodies = (PASSES, USES, SKIPS, SKIPS_AT_IMPORT)
    result = run(pytester, *bodies, shared=True, arguments=workers)
    assert result.ret == 1
    result.assert_outcomes(passed=2, skipped=2)
    result.stdout.fnmatch_lines(
        ["*too many skips*", "2 skipped, more than the 0 allowed (the shared data are there)"]
    )


def test_other_skips_are_not_excused_by_absent_data(
    pytester: pytest.Pytester, workers: tuple[str, ...]
) -> None:
    result = run(pytester, PASSES, USES, SKIPS, shared=False, arguments=workers)
    assert result.ret == 1
    result.stdout.fnmatch_lines(["2 skipped, more than the 1 allowed (skipped tests that ask*"])


def test_option_wins_over_ini(pytester: pytest.Pytester) -> None:
    arguments = ("--max-skips", "0")
    result = run(pytester, PASSES, SKIPS, shared=True, arguments=arguments, ini="max_skips = 1")
    assert result.ret == 1
    result.stdout.fnmatch_lines(["1 skipped, more than the 0 allowed (--max-skips)"])


def test_ini_raises_the_limit(pytester: pytest.Pytester) -> None:
    result = run(pytester, PASSES, SKIPS, shared=True, ini="max_skips = 1")
    assert result.ret == 0


def test_failure_stays_a_failure(pytester: pytest.Pytester) -> None:
    result = run(pytester, FAILS, SKIPS, shared=True)
    assert result.ret == 1
    result.assert_outcomes(failed=1, skipped=1)


def test_only_skipped_tests_count_as_allowed(pytester: pytest.Pytester) -> None:
    """A test that asks for the data and is not skipped leaves no room for one that is."""
    other = "import pytest\n@pytest.fixture(scope='session')\ndef shared_data(): return 1\n"
    asks = other + "def test_asks(shared_data): pass\n"
    result = run(pytester, asks, SKIPS, shared=False)
    assert result.ret == 1
    result.assert_outcomes(passed=1, skipped=1)
    result.stdout.fnmatch_lines(["1 skipped, more than the 0 allowed*"])


def test_only_tests_that_depend_on_the_place(pytester: pytest.Pytester) -> None:
    bodies = (PASSES, USES, OPEN, SKIPS, MARKED, SKIPS_AT_IMPORT)
    result = run(pytester, *bodies, shared=False, arguments=("--depends-on-place",))
    assert result.ret == 1
    result.assert_outcomes(passed=1, skipped=4, deselected=1)
    result.stdout.fnmatch_lines(["4 skipped, more than the 1 allowed*"])


@pytest.mark.parametrize("folder", ["tests", "benchmarks"])
def test_shared_data_are_reached_by_the_fixture_only(folder: str) -> None:
    """A test that looks for them by its own means would be skipped without being counted."""
    ours = {"tests/conftest.py", "tests/test_skips.py"}
    found = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / folder).rglob("*.py")
        if BY_OTHER_MEANS.search(path.read_text(encoding="utf-8"))
    }
    assert found - ours == set()


def test_data_in_the_repository_name_their_source() -> None:
    """Authors, repository, commit and licence; the text of a foreign licence beside the data."""
    words = (ROOT / "tests" / "data" / "README.md").read_text(encoding="utf-8")
    rows = {r.split("|")[1].strip(" `"): r.split("|") for r in words.splitlines() if r[:3] == "| `"}
    folders = {p.name: p for p in (ROOT / "tests" / "data").iterdir() if p.is_dir()}
    assert set(rows) == set(folders)
    for name, (_, _, what, authors, repository, licence, _) in rows.items():
        assert all(len(text.strip()) > 4 for text in (what, authors, repository, licence))
        if "Drypoint" not in authors:
            named = re.search(r"`(\w+/LICENSE)`", licence)
            assert named and (ROOT / "tests" / "data" / named[1]).is_file(), name
            assert re.search(r"`[\w-]+/[\w-]+`, [0-9a-f]{8} ", repository), name
