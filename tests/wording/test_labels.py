"""Every word of the model has its words for people."""

import pytest

from server.model.words import (
    Channel,
    Meaning,
    MetricName,
    MotorFamily,
    RunKind,
    RunState,
    SegmentKind,
    Severity,
    Source,
)
from server.wording import labels


@pytest.mark.parametrize("name", MetricName)
def test_every_metric_has_a_label_and_one_line(name):
    assert labels.metric_label(name)
    assert labels.metric_help(name).endswith(".")


def test_no_two_metrics_share_a_label():
    found = [labels.metric_label(name) for name in MetricName]
    assert len(set(found)) == len(found)


@pytest.mark.parametrize("meaning", Meaning)
def test_every_meaning_has_a_label_and_one_line(meaning):
    assert labels.meaning_label(meaning)
    assert labels.meaning_sentence(meaning).endswith(".")


def test_the_page_says_why_a_held_rotor_gives_no_shaft_power():
    words = labels.meaning_sentence(Meaning.INPUT_ROTOR_HELD)

    assert "torque times speed" in words
    assert "zero" in words


@pytest.mark.parametrize(
    ("word", "enum"),
    [
        (labels.state_word, RunState),
        (labels.state_help, RunState),
        (labels.severity_word, Severity),
        (labels.segment_word, SegmentKind),
        (labels.channel_word, Channel),
        (labels.kind_word, RunKind),
        (labels.source_word, Source),
        (labels.family_word, MotorFamily),
    ],
)
def test_every_word_of_the_model_is_said(word, enum):
    said = [word(member) for member in enum]
    assert all(said)
    assert len(set(said)) == len(said)


def test_weights_of_findings():
    assert [labels.severity_word(s) for s in Severity] == [
        "note",
        "check this",
        "holds this run back",
    ]


def test_nothing_insinuates_or_shouts():
    texts = [labels.metric_help(n) for n in MetricName]
    texts += [labels.meaning_sentence(m) for m in Meaning]
    for text in texts:
        assert "!" not in text
        for word in ("fake", "false", "lie", "cheat", "mislead", "inflate"):
            assert word not in text.casefold().split()
