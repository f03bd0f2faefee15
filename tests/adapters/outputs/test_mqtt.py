"""The frame output for MQTT, with a link in memory and a clock that the test turns."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from adapters.contract import FrameOutput, Raw
from adapters.outputs.frame import KEEP_ALIVE, LAMP_TEST, LAST, Header
from adapters.outputs.mqtt import LINK_AGAIN, MqttFramesOptions
from adapters.outputs.node_talk import Announcement
from bridge.errors import LayoutError
from bridge.events import MILLISECOND, SECOND, LinkState
from tests.adapters.outputs.desk import (
    AMBER,
    DARK,
    GREEN,
    HILL,
    RED,
    SHED,
    TERM,
    THROAT,
    Desk,
    answering,
    begun,
)

HERE, GONE = Announcement("here"), Announcement("gone")
MS = MILLISECOND


def test_it_is_a_frame_output() -> None:
    """It offers what the contract asks for, and takes no keys."""
    output: FrameOutput = Desk().output
    assert MqttFramesOptions is output.options
    assert not MqttFramesOptions.model_fields


async def test_a_frame_goes_out_at_once() -> None:
    """Before `show` returns, with header and levels on the chain's own topic."""
    desk = await begun(THROAT)
    desk.output.show(0, RED)
    assert [("lamproom/frame/tarn-yard/throat", Header(0, TERM, 1), RED)] == desk.frames()


async def test_it_listens_to_the_nodes() -> None:
    """By two filters, from the start on."""
    desk = await begun()
    assert ["lamproom/shown/+/+", "lamproom/node/+"] == list(desk.link.receivers)


async def test_before_its_start_it_sends_nothing_and_then_the_newest() -> None:
    """What was shown meanwhile is in the slot."""
    desk = Desk(THROAT, HILL)
    for levels in (RED, GREEN):
        desk.output.show(0, levels)
    assert [] == desk.frames()
    await desk.output.start()
    assert [("throat", GREEN)] == desk.pictures()


async def test_chains_that_change_together_go_out_together_in_their_order() -> None:
    """The first that is shown is the first on the wire."""
    desk = await begun(THROAT, SHED, HILL)
    for index in (2, 0, 1):
        desk.output.show(index, RED)
    assert [("line", RED), ("throat", RED), ("shed", RED)] == desk.pictures()


async def test_without_a_term_frames_wait_for_it() -> None:
    """The newest goes out as soon as the term is known, which wakes the output; before that nothing does."""
    desk = await begun(THROAT, HILL, term=None)
    desk.output.show(0, RED)
    desk.output.show(0, GREEN)
    desk.output.show(1, RED)
    desk.run(1 * SECOND)
    assert [] == desk.frames()
    assert desk.next is None
    desk.host.term = TERM
    desk.host.wake_soon()
    desk.run(1 * SECOND)
    assert [("throat", GREEN), ("line", RED)] == desk.pictures()


async def test_a_congested_link_is_handed_nothing() -> None:
    """When it is free again the newest of each chain goes, the one that waited longest first."""
    desk = await begun(THROAT, SHED, HILL)
    desk.link.congested = True
    for index, levels in ((1, RED), (0, RED), (1, AMBER), (1, GREEN)):
        desk.output.show(index, levels)
    desk.run(100 * MS)
    assert [] == desk.frames()
    desk.link.congested = False
    desk.run(100 * MS + LINK_AGAIN)
    assert [("shed", GREEN), ("throat", RED)] == desk.pictures()


async def test_a_link_that_takes_one_frame_at_a_time_serves_all_chains_alike() -> None:
    """A chain that changes all the time does not keep the others waiting."""
    desk = await begun(THROAT, SHED, HILL)
    order: list[str] = []
    for turn in range(6):
        desk.link.room, desk.link.congested = 1, False
        for index in range(3):
            desk.output.show(index, bytes([turn, index, 1]))
        desk.run(desk.now + LINK_AGAIN)
        order += [chain for chain, _ in desk.pictures()]
    assert {"throat", "shed", "line"} == set(order[:4])
    assert all(order.count(chain) >= 1 for chain in ("throat", "shed", "line"))


async def test_a_new_term_brings_every_chain_anew() -> None:
    """Nodes that obey a higher one have ignored the frames before it, and old acknowledgements say nothing."""
    desk = await answering(THROAT, HILL)
    desk.output.show(0, RED)
    desk.frames()
    desk.shown(THROAT, 2, term=TERM + 256)
    assert [TERM + 256] == desk.host.terms
    desk.host.term = TERM + 512
    desk.output.show(1, GREEN)
    expected = [(Header(0, TERM + 512, 3), RED), (Header(0, TERM + 512, 2), GREEN)]
    assert expected == [(header, levels) for _, header, levels in desk.frames()]
    for levels in (AMBER, GREEN):
        desk.output.show(0, levels)
    assert [("throat", AMBER)] == desk.pictures()
    desk.shown(THROAT, 4)
    assert [] == desk.frames()
    desk.shown(THROAT, 4, term=TERM + 512)
    assert [("throat", GREEN)] == desk.pictures()


async def test_a_chain_at_rest_sends_a_keep_alive_each_second() -> None:
    """And nothing else, whether its node acknowledges or not."""
    desk = await begun(THROAT)
    desk.output.show(0, RED)
    desk.run(10 * SECOND)
    frames = [(header.flags, header.sequence, levels) for _, header, levels in desk.frames()]
    assert [(0, 1, RED)] + [(KEEP_ALIVE, sequence, RED) for sequence in range(2, 12)] == frames


async def test_an_acknowledgement_lets_the_newest_go_at_once() -> None:
    """Inside the receiver: nobody waits for a timer."""
    desk = await answering(THROAT)
    for levels in (RED, AMBER, DARK, GREEN):
        desk.output.show(0, levels)
    assert [("throat", RED), ("throat", AMBER)] == desk.pictures()
    desk.shown(THROAT, 3)
    assert [("throat", GREEN)] == desk.pictures()


async def test_a_node_is_up_when_all_its_chains_acknowledge() -> None:
    """Said once."""
    desk = await begun(THROAT, SHED)
    for index in (0, 1):
        desk.output.show(index, RED)
    desk.shown(THROAT, 1)
    assert [] == desk.host.nodes
    desk.shown(SHED, 2)
    desk.shown(THROAT, 1)
    assert [("tarn-yard", LinkState.UP, "it acknowledges what it shows")] == desk.host.nodes


async def test_a_node_that_acknowledges_nothing_for_three_seconds_is_lost() -> None:
    """Counted from the first frame that stays unanswered, and said once; then it is asked each five seconds."""
    desk = await answering(THROAT)
    desk.run(4 * SECOND - 1)
    assert [] == desk.host.nodes
    desk.run(4 * SECOND)
    why = "chain throat has acknowledged nothing for 3 s"
    assert [("tarn-yard", LinkState.LOST, why)] == desk.host.nodes
    desk.frames()
    desk.output.show(0, RED)
    desk.run(24 * SECOND)
    assert [("throat", RED)] * 4 == desk.pictures()
    assert 1 == len(desk.host.nodes)


async def test_a_lost_node_that_acknowledges_is_up_and_gets_the_newest() -> None:
    """At once, by any acknowledgement of the present term."""
    desk = await answering(THROAT)
    desk.run(10 * SECOND)
    desk.output.show(0, RED)
    desk.frames()
    desk.host.nodes.clear()
    desk.shown(THROAT, 2)
    assert [("tarn-yard", LinkState.UP, "it acknowledges what it shows")] == desk.host.nodes
    assert [("throat", RED)] == desk.pictures()
    desk.run(11 * SECOND)
    assert [("throat", RED)] == desk.pictures()  # the keep-alive's clock goes on without another nudge


async def test_a_node_is_lost_when_one_of_its_chains_is_silent() -> None:
    """What that chain shows is not known, and the other chain's word does not help."""
    desk = await answering(THROAT, SHED)
    for second in range(1, 7):
        desk.run(second * SECOND + 20 * MS)
        sequence = max(header.sequence for topic, header, _ in desk.frames() if topic.endswith("throat"))
        desk.shown(THROAT, sequence)
    why = "chain shed has acknowledged nothing for 3 s"
    assert [("tarn-yard", LinkState.LOST, why)] == desk.host.nodes


async def test_a_node_that_speaks_on_one_chain_owes_an_answer_on_the_others() -> None:
    """They get a whole frame and are silent if they do not acknowledge it."""
    desk = await begun(THROAT, SHED)
    for index in (0, 1):
        desk.output.show(index, RED)
    desk.frames()
    desk.shown(THROAT, 1)
    assert [("shed", RED)] == desk.pictures()
    desk.run(3 * SECOND)
    assert ("tarn-yard", LinkState.LOST) == desk.host.nodes[-1][:2]


async def test_an_announcement_brings_a_whole_frame_on_every_chain_of_the_node() -> None:
    """Whatever was on the way, and no other node's; that it is up it has yet to show."""
    desk = await answering(THROAT, SHED, HILL)
    for levels in (RED, AMBER, GREEN):
        desk.output.show(0, levels)
    desk.frames()
    desk.announce("tarn-yard", HERE)
    assert [("throat", GREEN), ("shed", DARK)] == desk.pictures()
    assert [] == desk.host.nodes


async def test_a_kept_announcement_alone_makes_no_node_up() -> None:
    """It may be older than the node's end: without an acknowledgement the node is lost after three seconds."""
    desk = await begun(THROAT)
    desk.announce("tarn-yard", HERE, retained=True)
    desk.output.show(0, RED)
    desk.run(3 * SECOND - 1)
    assert [] == desk.host.nodes
    desk.run(3 * SECOND)
    assert [("tarn-yard", LinkState.LOST)] == [node[:2] for node in desk.host.nodes]


async def test_a_node_whose_last_will_says_so_is_lost_at_once() -> None:
    """Said once; when it comes back it gets a whole frame, and is up with its acknowledgement."""
    desk = await answering(THROAT)
    desk.announce("tarn-yard", GONE)
    desk.announce("tarn-yard", GONE)
    why = "it has said, itself or by its last will, that it is gone"
    assert [("tarn-yard", LinkState.LOST, why)] == desk.host.nodes
    desk.output.show(0, RED)
    assert [] == desk.frames()
    desk.announce("tarn-yard", HERE)
    assert [("throat", RED)] == desk.pictures()
    desk.shown(THROAT, 2)
    assert LinkState.UP is desk.host.nodes[-1][1]


async def test_a_node_that_is_gone_before_anything_was_shown_is_lost() -> None:
    """Its kept last will is known before the first frame."""
    desk = await begun(THROAT)
    desk.announce("tarn-yard", GONE, retained=True)
    assert [("tarn-yard", LinkState.LOST)] == [node[:2] for node in desk.host.nodes]


async def test_a_retained_acknowledgement_is_no_sign_of_life() -> None:
    """It frees nothing and raises nobody from the dead."""
    desk = await begun(THROAT)
    desk.output.show(0, RED)
    desk.shown(THROAT, 1, retained=True)
    assert [] == desk.host.nodes


async def test_while_the_term_is_not_chosen_every_term_counts() -> None:
    """Whoever used it, so that ours becomes higher than all."""
    desk = await begun(THROAT, term=None)
    desk.announce("tarn-yard", Announcement("here", 300))
    desk.announce("somebody-else", Announcement("gone", 900))
    desk.shown(HILL, 5, term=700)
    assert [300, 900, 700] == desk.host.terms


async def test_with_a_term_only_a_higher_one_of_our_own_nodes_counts() -> None:
    """Two bridges do not outbid each other for the sake of the other's nodes."""
    desk = await begun(THROAT)
    desk.announce("tarn-yard", Announcement("here", TERM))
    desk.announce("somebody-else", Announcement("here", TERM + 1))
    desk.shown(HILL, 5, term=TERM + 1)
    assert [] == desk.host.terms
    desk.announce("tarn-yard", Announcement("here", TERM + 2))
    desk.shown(THROAT, 5, term=TERM + 3)
    assert [TERM + 2, TERM + 3] == desk.host.terms


async def test_garbage_from_our_own_nodes_is_refused_and_changes_nothing() -> None:
    """With topic and payload; another's garbage is none of our business."""
    desk = await answering(THROAT)
    shown, node = desk.link.receivers["lamproom/shown/+/+"], desk.link.receivers["lamproom/node/+"]
    shown(Raw("lamproom/shown/tarn-yard/throat", b"\xff"))
    node(Raw("lamproom/node/tarn-yard", b""))
    shown(Raw("lamproom/shown/elsewhere/throat", b"\xff"))
    node(Raw("lamproom/node/elsewhere", b""))
    received = ["lamproom/shown/tarn-yard/throat \\xff", "lamproom/node/tarn-yard"]
    assert received == [error.received for _, error in desk.host.refusals]
    assert [] == desk.frames()
    assert [] == desk.host.nodes


async def test_the_last_frames_go_out_whatever_is_on_the_way() -> None:
    """Flagged as the last, also on a congested link, and nothing follows them."""
    desk = await answering(THROAT, HILL)
    for levels in (RED, AMBER, GREEN):
        desk.output.show(0, levels)
    desk.frames()
    desk.link.congested = True
    await desk.output.stop((DARK, RED))
    expected = [(Header(LAST, TERM, 4), DARK), (Header(LAST, TERM, 2), RED)]
    assert expected == [(header, levels) for _, header, levels in desk.frames()]
    desk.link.congested = False
    desk.output.show(0, GREEN)
    desk.shown(THROAT, 3)
    desk.announce("hill", HERE)
    desk.link.turn(LinkState.UP)
    assert None is desk.output.wake(desk.now)
    assert [] == desk.frames()


async def test_it_can_be_ended_without_having_begun() -> None:
    """There is nothing to take back."""
    desk = Desk(THROAT)
    await desk.output.stop(())
    assert [] == desk.frames()


async def test_figures_are_told_at_most_once_a_second() -> None:
    """For each chain by itself, and complete."""
    desk = await answering(THROAT)
    for step in range(500):
        desk.output.show(0, bytes([step % 251, 0, 0]))
        desk.run(desk.now + 10 * MS)
        for topic, header, _ in desk.frames():
            assert topic.endswith("throat")
            desk.shown(THROAT, header.sequence)
    instants = [at for at, _, _ in desk.host.told]
    assert 4 <= len(instants) <= 6
    assert all(later - earlier >= 1 * SECOND for earlier, later in pairwise(instants))
    figures = desk.host.told[-1][2]
    assert {"sent", "skipped", "kept_alive", "acknowledged", "round_trip_ns"} == set(figures)
    assert figures["sent"] > 300


async def test_a_busy_chain_does_not_ask_to_be_woken_for_each_frame() -> None:
    """One wake a second is enough while everything flows."""
    desk = await begun(THROAT)
    asked = 0
    for step in range(300):
        desk.output.show(0, bytes([step % 251, 0, 0]))
        asked += desk.host.asked
        desk.run(desk.now + 10 * MS)
    assert asked <= 2


@pytest.mark.parametrize("name", ["", "a/b", "a+", "#", "a\nb"])
@pytest.mark.parametrize("what", ["node", "chain"])
def test_a_name_that_cannot_be_part_of_a_topic_is_refused(what: str, name: str) -> None:
    """It would address others, or nobody."""
    place = replace(THROAT, node=name) if what == "node" else replace(THROAT, chain=name)
    with pytest.raises(LayoutError, match=f"the {what} name `.*` cannot be part of an MQTT topic"):
        Desk(place)


async def test_node_that_obeys_another_bridge_is_left_to_it() -> None:
    """While the bridge does not outbid the term its node is sent nothing, not even a keep-alive or a last frame."""
    desk = await answering(THROAT, HILL)
    desk.host.others.add(TERM + 1)
    desk.shown(THROAT, 9, term=TERM + 1)
    assert [TERM + 1] == desk.host.terms
    assert [
        ("tarn-yard", LinkState.LOST, f"it obeys another bridge, under term {TERM + 1}")
    ] == desk.host.nodes
    desk.output.show(0, RED)
    desk.output.show(1, RED)
    desk.shown(THROAT, 10, term=TERM + 1)
    desk.announce("tarn-yard", HERE)
    desk.run(desk.now + 12 * SECOND)
    assert {"line"} == {chain for chain, _ in desk.pictures()}
    await desk.output.stop((GREEN, GREEN))
    assert [("line", GREEN)] == desk.pictures()


async def test_node_of_another_bridge_is_shown_the_newest_once_our_term_is_higher() -> None:
    """The bridge took a higher term when the other one ended; the picture has gone on in the meantime."""
    desk = await answering(THROAT, SHED)
    desk.host.others.add(TERM + 1)
    desk.shown(SHED, 9, term=TERM + 1)
    desk.output.show(0, RED)
    desk.output.show(1, GREEN)
    desk.run(desk.now + 3 * SECOND)
    assert [] == desk.frames()
    desk.host.term = TERM + 256
    desk.host.wake_soon()
    desk.run(desk.now)
    frames = desk.frames()
    assert [TERM + 256] * 2 == [header.term for _, header, _ in frames]
    assert [RED, GREEN] == [levels for _, _, levels in frames]
    desk.host.nodes.clear()
    for place, (_, header, _) in zip((THROAT, SHED), frames, strict=True):
        desk.shown(place, header.sequence, term=TERM + 256)
    assert [LinkState.UP] == [state for _, state, _ in desk.host.nodes]


async def test_picture_of_a_lamp_test_is_marked_and_so_are_its_keep_alives() -> None:
    """Bit 1 of the flags. The picture after it may have the same levels, and goes out all the same, unmarked."""
    desk = await answering(THROAT)
    desk.output.show(0, RED, test=True)
    desk.shown(THROAT, 2)
    desk.run(desk.now + 1 * SECOND)
    desk.shown(THROAT, 3)
    desk.output.show(0, RED)
    assert [LAMP_TEST, LAMP_TEST | KEEP_ALIVE, 0] == [header.flags for _, header, _ in desk.frames()]


async def test_stopped_without_last_frames_it_leaves_everything_lit() -> None:
    """Nothing more goes out, and nothing that is marked as the last."""
    desk = await answering(THROAT, HILL)
    desk.output.show(0, RED)
    assert 1 == len(desk.frames())
    await desk.output.stop(None)
    desk.output.show(0, GREEN)
    desk.run(desk.now + 5 * SECOND)
    assert [] == desk.frames()
