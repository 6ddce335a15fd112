"""The click on the kit's own module: notes at the beats, also where a voice would count."""

from playalong.app.kit_click import KitClick
from playalong.app.open_devices import Look, counting_of
from playalong.midi.messages import note_on
from playalong.sound.device.output import SilentOutput
from playalong.sound.synth.click import CHANNEL, Click, Counting, Kind, midi
from playalong.sound.voice import Word


class Sent:
    """What would go to the module."""

    def __init__(self) -> None:
        self.messages: list[tuple[float, bytes]] = []

    def schedule(self, messages: list[tuple[float, bytes]]) -> None:
        self.messages += messages


def test_a_word_goes_to_the_module_as_the_stick_that_it_stands_for():
    click = KitClick.__new__(KitClick)
    click._output, click._sending = SilentOutput(), Sent()
    click.schedule(5.0, [Word(Click(-1.0, Kind.COUNT, "two")), Click(0.0, Kind.ONE)])
    begun = [(at_s, data) for at_s, data in click._sending.messages if data[0] & 0xF0 == 0x90]
    assert [at_s for at_s, _ in begun] == [4.0, 5.0]
    note, velocity = midi(Kind.COUNT)
    assert begun[0][1] == note_on(CHANNEL, note, velocity)


def test_on_the_module_sticks_count_whatever_is_set():
    kept = {"counting": str(Counting.NUMBERS)}
    assert counting_of(Look(), kept) is Counting.NUMBERS
    assert counting_of(Look(kit_click="module"), kept) is Counting.STICKS
    assert counting_of(Look(counting=Counting.STICKS), kept) is Counting.STICKS
    assert counting_of(Look(), {"counting": "by hand"}) is Counting.STICKS
