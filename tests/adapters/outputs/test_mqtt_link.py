"""The link to the broker goes and comes: what the nodes are sent, and what is said of them."""

from __future__ import annotations

from adapters.outputs.node_talk import Announcement
from bridge.events import SECOND, LinkState
from tests.adapters.outputs.desk import AMBER, DARK, GREEN, HILL, RED, SHED, THROAT, Desk, answering

GONE = Announcement("gone")


async def test_while_the_link_is_down_nothing_is_sent() -> None:
    """Nothing goes out, and once the nodes are given up nobody is woken."""
    desk = await answering(THROAT)
    desk.output.show(0, RED)
    desk.link.turn(LinkState.LOST)
    desk.output.show(0, GREEN)
    desk.frames()
    desk.run(60 * SECOND)
    assert [] == desk.frames()
    assert None is desk.output.wake(desk.now)


async def test_nodes_are_lost_when_the_link_has_been_down_for_three_seconds() -> None:
    """Nobody knows what they show by then; it is said once, with the link as the reason, and not of a stranger.

    The node that was never heard of has no health to lose. When the link is back each is up by what it acknowledges.
    """
    desk = await answering(THROAT, SHED)
    desk.shown(THROAT, 1)
    desk.shown(SHED, 1)
    plain = Desk(HILL)
    await plain.output.start()
    plain.output.show(0, RED)
    desk.host.nodes.clear()
    for each in (desk, plain):
        each.link.turn(LinkState.LOST)
        each.run(3 * SECOND - 1)
    assert [] == desk.host.nodes
    for each in (desk, plain):
        each.run(60 * SECOND)
    lost = ("tarn-yard", LinkState.LOST, "the link to the broker is down")
    assert [lost] == desk.host.nodes
    assert [] == plain.host.nodes
    desk.frames()
    desk.link.turn(LinkState.UP)
    for place, (_, header, _levels) in zip((THROAT, SHED), desk.frames(), strict=True):
        desk.shown(place, header.sequence)
    assert [lost, ("tarn-yard", LinkState.UP, "it acknowledges what it shows")] == desk.host.nodes


async def test_link_that_is_back_within_three_seconds_blames_no_node() -> None:
    """A node that answers then was up all the time; one that does not is silent three seconds after the return."""
    desk = await answering(THROAT)
    desk.shown(THROAT, 1)
    desk.host.nodes.clear()
    desk.link.turn(LinkState.LOST)
    desk.run(2 * SECOND)
    desk.link.turn(LinkState.UP)
    desk.run(5 * SECOND - 1)
    assert [] == desk.host.nodes
    desk.run(5 * SECOND)
    assert [LinkState.LOST] == [state for _node, state, _why in desk.host.nodes]


async def test_when_the_link_comes_back_every_chain_goes_out_whole() -> None:
    """Also one that did not change, one with a full window and one that is silent."""
    desk = await answering(THROAT, SHED, HILL)
    desk.announce("hill", GONE)
    for levels in (RED, AMBER, GREEN):
        desk.output.show(0, levels)
    desk.link.turn(LinkState.LOST)
    desk.frames()
    desk.run(20 * SECOND)
    desk.link.turn(LinkState.UP)
    assert [("throat", GREEN), ("shed", DARK), ("line", DARK)] == desk.pictures()
    desk.run(21 * SECOND)
    assert [("throat", GREEN), ("shed", DARK)] == desk.pictures()  # keep-alives: the clock goes on


async def test_what_a_node_says_of_its_board_is_passed_on() -> None:
    """With the node's name; of a stranger's node nothing is."""
    desk = Desk(THROAT, HILL)
    await desk.output.start()
    desk.announce("hill", Announcement("here", None, "e661"))
    desk.announce("tarn-yard", Announcement("here"))
    desk.announce("stranger", Announcement("here", None, "beef"))
    assert [("hill", "e661")] == desk.host.boards
