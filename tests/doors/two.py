"""Two phones of one crew on one prepared day, and the rows that their entries hang on."""

from dataclasses import dataclass
from typing import Any

from itm.records.models import Bottle, ProportioningTest, RestorationLine
from tests.checks import lot_of
from tests.direct_deeds import direct_day
from tests.doors.phone import Phone, run_of, started

Texts = dict[str, Any]

PERIODIC = {"purpose": "periodic"}
PH = {"property": "ph", "value": "7.6"}
COLLECTED = {"kind": "collected", "volume": "3100 L", "place": "Bund"}
WHY = ({"reason": "bubble"}, {"reason": "spilt"})
LEFT = {"outcome": "left_out", "reason": "stem bent", "handed_to": "the duty engineer"}


@dataclass
class Two:
    """Two phones of one crew on one day. `phone` is late: it saw nothing of what the other did."""

    scene: Any
    draft: ProportioningTest
    phone: Phone
    other: Phone

    def made(self, verb: str, of: Texts, put: Texts | None = None) -> Any:
        """Done by the late phone before, and seen by both."""
        raw = self.phone.note(verb, of, put)
        self.phone.queue.remove(raw)
        [answer] = self.phone.send([raw])
        assert answer.taken, answer
        return raw["key"]

    @property
    def run(self) -> Texts:
        return {"run": run_of(self.draft).key}

    @property
    def visit(self) -> Texts:
        return {"visit": self.draft.visit.key}

    @property
    def test(self) -> Texts:
        return {"test": self.draft.key}

    @property
    def line(self) -> Texts:
        return {"line": RestorationLine.objects.order_by("position").first().key}

    @property
    def step(self) -> Texts:
        return {"step": self.draft.flush_steps.order_by("position").first().key}

    def started(self) -> None:
        started(self.phone, self.draft)

    def sample(self) -> Texts:
        self.started()
        return {"bottle": self.made("add_sample", self.run, {"label": "D1"})}

    def standard(self) -> Texts:
        self.made("set_out_bench", self.test)
        return {"bottle": Bottle.objects.filter(role="standard").first().key}

    def water(self) -> Texts:
        self.made("set_out_bench", self.test)
        return {"bottle": Bottle.objects.get(role="water").key}

    def reading(self) -> Texts:
        return {"reading": self.made("add_reading", self.water(), {"value": "1.33300"})}

    def check(self) -> Texts:
        lot_of(self.scene)
        return {"check": self.made("begin_check", {"tank": self.scene.tank.key}, PERIODIC)}

    def tank_bottle(self) -> Texts:
        put = {"point": "top", "label": "T1"}
        return {"sample": self.made("add_check_sample", self.check(), put)}

    def value(self) -> Texts:
        return {"value": self.made("add_value", self.tank_bottle(), PH)}

    def effluent(self) -> Texts:
        self.started()
        return {"effluent": self.made("note_effluent", self.visit, COLLECTED)}

    def direct(self) -> ProportioningTest:
        return direct_day(self.scene, "two_flows").test
