"""Failure signatures: SciPy's linkage and a slow silhouette of the cases one by one, planted groups, none, ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.cluster import hierarchy
from scipy.spatial import distance

from rqa.stats import failure_signatures
from rqa.stats.average_linkage import linked
from tests.examples import examples


@settings(max_examples=examples(40), deadline=None)
@given(st.integers(0, 10_000), st.integers(3, 12))
def test_weighted_tree_is_that_of_repeated_cases(seed, patterns):
    """Points in a plane, as Jaccard distances tie and ties may be broken either way; weights by repetition."""
    rng = np.random.default_rng(seed)
    points, weight = rng.random((patterns, 2)), rng.integers(1, 5, patterns)
    tree = linked(distance.squareform(distance.pdist(points)), weight)
    other = hierarchy.linkage(np.repeat(points, weight, axis=0), "average")
    assert tree[:, 2] == pytest.approx(other[-(patterns - 1) :, 2], rel=1e-9)
    assert hierarchy.is_valid_linkage(tree)
    alone = linked(distance.squareform(distance.pdist(points)), np.ones(patterns))
    assert alone == pytest.approx(hierarchy.linkage(points, "average"), rel=1e-9)


def slow_silhouette(patterns, weight, label):
    """Rousseeuw's definition pattern by pattern, the others counted as often as they have cases."""
    far = distance.squareform(distance.pdist(patterns, "jaccard"))
    widths = []
    for i, own in enumerate(label):
        mine = [j for j in range(len(label)) if label[j] == own and j != i]
        if not mine:
            widths.append(0.0)
            continue
        a = np.average(far[i, mine], weights=weight[mine])
        b = min(np.average(far[i, label == g], weights=weight[label == g]) for g in set(label.tolist()) - {own})
        widths.append((b - a) / max(a, b))
    return np.average(widths, weights=weight)


def planted(seed=0):
    """Three kinds of failure with four marks of their own each, every mark seen with 80 %, others with 3 %."""
    rng = np.random.default_rng(seed)
    kind = rng.choice(3, 150, p=[0.5, 0.3, 0.2])
    own = np.repeat(np.eye(3), 4, axis=1)[kind] > 0
    marks = rng.random((150, 12)) < np.where(own, 0.8, 0.03)
    marks[np.arange(150), 4 * kind] = True
    patterns, place, weight = np.unique(marks, axis=0, return_inverse=True, return_counts=True)
    return patterns, weight, kind, place.ravel()


def test_planted_groups_are_found_and_firm():
    patterns, weight, kind, place = planted()
    r = failure_signatures(patterns, weight, resamples=20)
    assert r.groups == 3
    assert (r.group[place] == kind).mean() >= 0.98
    assert r.weight.sum() == 150
    assert (np.diff(r.weight) <= 0).all()
    assert (r.stability > 0.75).all()
    for g in range(3):
        telling = np.argsort(r.share_elsewhere[g] - r.share_with_mark[g])[:4]
        assert sorted(telling.tolist()) == list(range(4 * g, 4 * g + 4))
        assert r.group[r.middle[g]] == g
    expected = slow_silhouette(patterns, weight, np.asarray(r.group))
    assert r.silhouette[r.tried == 3][0] == pytest.approx(expected, rel=1e-9)
    assert r.silhouette.max() == pytest.approx(expected, rel=1e-9)
    again = failure_signatures(patterns, weight, resamples=20)
    assert again.stability.tolist() == r.stability.tolist()


def test_marks_by_chance_are_one_group():
    marks = np.random.default_rng(1).random((80, 15)) < 0.4
    marks[:, 0] |= ~marks.any(axis=1)
    r = failure_signatures(marks, np.ones(80, dtype=int), resamples=5)
    assert (r.groups, r.stability.tolist()) == (1, [1.0])
    assert r.share_with_mark[0] == pytest.approx(marks.mean(axis=0))
    assert np.isnan(r.share_elsewhere).all()


def test_shares_and_patterns_without_cases():
    marks = [[1, 1, 0, 0], [1, 0, 0, 0], [0, 0, 1, 1], [1, 1, 1, 0], [0, 0, 0, 1]]
    r = failure_signatures(marks, [3, 0, 2, 1, 1])
    assert r.group.tolist() == [0, -1, 1, 0, 1]
    assert r.share_with_mark == pytest.approx(np.array([[1, 1, 0.25, 0], [0, 0, 2 / 3, 1]]))
    assert r.share_elsewhere == pytest.approx(np.array([[0, 0, 2 / 3, 1], [1, 1, 0.25, 0]]))
    one = failure_signatures([[1, 0]], [4])
    assert (one.groups, one.middle.tolist()) == (1, [0])
    none = failure_signatures([[1, 0]], [0])
    assert (none.groups, none.group.tolist()) == (0, [-1])


@pytest.mark.parametrize(
    ("marks", "weights", "message"),
    [
        ([[1, 0], [0, 0]], [1, 1], "pattern 1 has none"),
        ([[0.5, 1]], [1], "1 or 0"),
        ([[1, 1]], [1, 2], "one number per pattern"),
    ],
)
def test_refused(marks, weights, message):
    with pytest.raises(ValueError, match=message):
        failure_signatures(marks, weights)
