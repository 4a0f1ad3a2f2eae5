"""The benchmark of rates compares what is the same, on a few cells. No time is asserted."""

import numpy as np

from tests.benchmarks.bench_rates import cells, main, measure


def test_engine_and_peer_give_the_same_limits():
    measured = measure(2_000, rounds=1)
    assert np.allclose(measured.ours, measured.theirs, rtol=1e-9)
    assert all(line.value > 0 for line in measured.lines)


def test_cells_are_small_and_large():
    events, exposure = cells(5_000)
    assert events.min() == 0
    assert events.max() > 20
    assert (exposure > 0).all()


def test_the_command_prints_the_table(capsys):
    main(["--cells", "500", "--devices", "50"])
    printed = capsys.readouterr().out
    assert "limits of 500 Poisson cells" in printed
    assert "scipy.stats.chi2" in printed
    assert "exposure of 50 devices" in printed
    assert " 0 days" not in printed
