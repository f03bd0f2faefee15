"""A node of LCC gets its alias, keeps it or yields it, and answers what it is asked."""

from __future__ import annotations

from itertools import islice, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.lcc.alias import ALIAS_TABLE, Act, Heard, Standing, aliases
from adapters.events.lcc.frames import Frame, read_frame
from adapters.events.lcc.messages import Mti
from adapters.events.lcc.node import Node

OURS = 0x0102_0304_0506
OTHER = 0x0501_0101_9A3C
RANGE = 0x01010200_00FF0FFF
BLOCK = 0x01020304_05060001
SENT = 0x01020304_05060009


def joined() -> Node:
    """Return a node that has its alias."""
    node = Node(OURS, [BLOCK], [RANGE], {SENT: Mti.PRODUCER_INVALID})
    node.begin()
    node.waited()
    return node


def read(text: str) -> Frame:
    """Return a frame from its text."""
    frame = read_frame(text.encode())
    assert frame is not None
    return frame


def heard(node: Node, text: str) -> list[str]:
    """Have a node hear a frame, and return what it sends, `aaa` for its alias; `aaa` in the text likewise."""
    alias = f"{node.alias:03X}"
    return [
        frame.text().decode().replace(alias, "aaa") for frame in node.hear(read(text.replace("aaa", alias)))
    ]


def test_a_node_joins_in_the_order_of_the_standard() -> None:
    """S-9.7.2.1 section 6.2: four CID with 12 bits of its number each, and after the wait RID, AMD and the rest.

    Then the node says that it is there, which events it listens to and sends, and asks who and how the others are.
    """
    node = Node(OURS, [BLOCK], [RANGE], {SENT: Mti.PRODUCER_UNKNOWN}, ask=[SENT])
    first = [frame.text().decode() for frame in node.begin()]
    a = f"{node.alias:03X}"
    assert [f":X17010{a}N;", f":X16203{a}N;", f":X15040{a}N;", f":X14506{a}N;"] == first
    assert [
        f":X10700{a}N;",
        f":X10701{a}N010203040506;",
        f":X19100{a}N010203040506;",
        f":X194A4{a}N0101020000FF0FFF;",
        f":X194C7{a}N0102030405060001;",
        f":X19547{a}N0102030405060009;",
        f":X10702{a}N;",
        f":X19970{a}N;",
        f":X195B4{a}N0102030405060009;",
    ] == [frame.text().decode() for frame in node.waited()]
    assert [] == node.waited()


@given(st.integers(1, 2**48 - 1))
def test_no_alias_is_nought(node_id: int) -> None:
    """S-9.7.2.1 section 6.3; and a node that is refused one asks for another."""
    tries = list(islice(aliases(node_id), 50))
    assert all(1 <= alias <= 0xFFF for alias in tries)
    assert len(set(tries)) > 25


def test_two_nodes_that_collide_do_not_go_on_colliding() -> None:
    """Numbers that are close to each other give other aliases."""
    one, two = (list(islice(aliases(OURS + add), 20)) for add in (0, 1))
    assert len([1 for a, b in zip(one, two, strict=True) if a == b]) < 3


def test_the_table_of_aliases_has_every_pair() -> None:
    """Whatever is heard, asking or holding, it is said what follows."""
    assert set(product(Standing, Heard)) == set(ALIAS_TABLE)


FRAMES = {
    Heard.CHECKED: ":X17050aaaN;",
    Heard.USED: ":X195B4aaaN0102030405060708;",
    Heard.ENQUIRED: ":X10702123N;",
}


@pytest.mark.parametrize(("standing", "what"), [pair for pair in ALIAS_TABLE if pair[1] is not Heard.WAITED])
def test_every_pair_does_what_the_table_of_aliases_says(standing: Standing, what: Heard) -> None:
    """One that is asking takes another, one that holds defends, yields or answers."""
    node = joined()
    if standing is Standing.ASKING:
        heard(node, FRAMES[Heard.USED])
    assert standing is node.standing
    before = node.alias
    sent = heard(node, FRAMES[what])
    match ALIAS_TABLE[standing, what]:
        case Act.DEFEND:
            assert [":X10700aaaN;"] == sent
        case Act.ANSWER:
            assert [":X10701aaaN010203040506;"] == sent
        case Act.ANOTHER:
            assert [f":X17010{node.alias:03X}N;", 4] == [sent[0], len(sent)]
        case Act.YIELD:
            assert [":X10703aaaN010203040506;", f":X17010{node.alias:03X}N;", 5] == [*sent[:2], len(sent)]
        case Act.NOTHING:
            assert [] == sent
    changes = ALIAS_TABLE[standing, what] in (Act.ANOTHER, Act.YIELD)
    assert changes is (before != node.alias)
    assert (Standing.ASKING if changes else standing) is node.standing


def test_after_a_conflict_a_node_takes_another_alias_and_tells_only_that() -> None:
    """It was there all the time: it says nothing of its start again."""
    node = joined()
    node.hear(Frame(0x95B4, node.alias, bytes(8)))
    assert 1 == node.conflicts
    assert [] == node.report(SENT)
    told = node.waited()
    assert 0 == node.conflicts
    a = f"{node.alias:03X}"
    assert [f":X10700{a}N;", f":X10701{a}N010203040506;"] == [each.text().decode() for each in told]


# Sources: S-9.7.3 section 7.3.3, S-9.7.3.1 sections 4 and 6; protocols and rejections are from memory of S-9.7.3.
@pytest.mark.parametrize(
    ("asked", "answers"),
    [
        (":X19490123N;", [":X19170aaaN010203040506;"]),
        (":X19490123N010203040506;", [":X19170aaaN010203040506;"]),
        (":X19490123N050101019A3C;", []),
        (":X19488123N0aaa;", [":X19170aaaN010203040506;"]),
        (":X19488123N0999;", []),
        (":X198F4123N0102030405060001;", [":X194C7aaaN0102030405060001;"]),
        (":X198F4123N0101020000FF0009;", [":X194C7aaaN0101020000FF0009;"]),
        (":X198F4123N0101020000FF1000;", []),
        (":X198F4123N01;", []),
        (":X19914123N0102030405060009;", [":X19545aaaN0102030405060009;"]),
        (":X19914123N0102030405060001;", []),
        (
            ":X19970123N;",
            [":X194A4aaaN0101020000FF0FFF;", ":X194C7aaaN0102030405060001;", ":X19545aaaN0102030405060009;"],
        ),
        (
            ":X19968123N0aaa;",
            [":X194A4aaaN0101020000FF0FFF;", ":X194C7aaaN0102030405060001;", ":X19545aaaN0102030405060009;"],
        ),
        (":X19968123N0999;", []),
        (":X19828123N0aaa;", [":X19668aaaN0123040000000000;"]),
        (":X19DE8123N0aaa;", [":X19068aaaN012310430DE8;"]),
        (":X19DE8123N1aaa01;", []),  # the first of several frames
        (":X19DE8123N2aaa01;", [":X19068aaaN012310430DE8;"]),  # the last
        (":X19068123N0aaa1043;", []),  # an answer is not answered
        (":X19A48123N0aaa1000;", []),
        (":X1Aaaa123N0A;", [":X19A48aaaN01231040;"]),  # a datagram
        (":X1Baaa123N0A;", []),  # the first frame of one
        (":X1Daaa123N0A;", [":X19A48aaaN01231040;"]),  # the last
        (":X1A999123N0A;", []),
        (":X195B4123N0102030405060708;", []),
        (":X19594123N0102030405060708;", []),
        (":X19524123N0102030405060708;", []),
        (":X19F16123N0102030405060708;", []),
    ],
)
def test_a_node_answers_what_it_is_asked(asked: str, answers: list[str]) -> None:
    """And says nothing where others are meant, or where nothing has to be said."""
    assert answers == heard(joined(), asked)


def test_a_node_without_an_alias_answers_nothing() -> None:
    """S-9.7.2.1 section 6: nothing goes out before the alias is told."""
    node = Node(OURS, [BLOCK], [], {})
    node.begin()
    assert [] == node.hear(read(":X19490123N;")) == node.report(BLOCK)


def test_a_node_learns_who_is_behind_an_alias() -> None:
    """By AMD, and by what a node says of itself; after AMR nobody knows any more."""
    node = joined()
    for text in (":X10701123N050101019A3C;", ":X19170124N050101019A3D;", ":X19100125N050101019A3E;"):
        node.hear(read(text))
    assert ["05.01.01.01.9A.3C", "05.01.01.01.9A.3D", "05.01.01.01.9A.3E", "alias 126"] == [
        node.who(alias) for alias in (0x123, 0x124, 0x125, 0x126)
    ]
    node.hear(read(":X10703123N050101019A3C;"))
    assert "alias 123" == node.who(0x123)


def test_another_node_with_our_number_is_told_once() -> None:
    """S-9.7.0.4 section 5.2 has an event for it."""
    node = joined()
    assert [":X195B4aaaN0101000000000201;"] == heard(node, ":X10701123N010203040506;")
    assert [] == heard(node, ":X19170123N010203040506;")


@given(
    st.lists(
        st.builds(Frame, st.integers(0, 0xFFFF), st.integers(0, 0xFFF), st.binary(max_size=8)), max_size=30
    )
)
def test_whatever_a_node_hears_it_sends_frames_of_its_own(frames: list[Frame]) -> None:
    """All it sends is under its own alias, with no more than eight bytes, and never under nought."""
    node = joined()
    for frame in frames:
        for sent in node.hear(frame):
            assert sent == read_frame(sent.text())
            assert sent.alias
        if node.standing is Standing.ASKING:
            node.waited()
        assert len(node.names) <= 0x1000
