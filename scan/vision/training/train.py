"""Trains the digit network: `python -m scan.vision.training.train --mnist DIR --out FILE.pt --seed 1`.

On a GPU teachers first, each on its own (`--teacher`), then the reader on the answers and on what the
teachers say (`--taught-by A.pt B.pt`); all on the same endless stream of simulated patches. The learning rate
follows the clock (`--minutes`) or the count of steps (`--steps`); the count is written into the result, and
giving it repeats a run. Exactly the same only on the same device and library: random numbers differ between
CPU and GPU.
"""

import argparse
import copy
import hashlib
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from scan.vision.training import bank as glyph_bank
from scan.vision.training import fonts, mnist, network, patches, strokes

BOX_W_MM = patches.BOX_WIDTH_MM

# Over the last steps weights are averaged with this half-life, in steps; steadier than the last step's
# weights.
_AVERAGE_HALF_LIFE = 300


_POOL = 100  # batches kept for another use


@dataclass(frozen=True, slots=True)
class Lesson:
    """Inputs (N, 1, rows, cols), answers (N,) and the mean scores of any teachers (N, 12)."""

    views: Tensor
    answers: Tensor
    taught: Tensor | None


@torch.no_grad()
def _told(teachers: list[nn.Module], views: Tensor) -> Tensor | None:
    """Mean scores of the teachers; None without any."""
    with torch.autocast(views.device.type, dtype=torch.bfloat16):
        told = [teacher(views).float() for teacher in teachers]
    return torch.stack(told).mean(0) if told else None


@dataclass(slots=True)
class Source:
    """An endless stream of simulated training patches, as network inputs.

    Drawing a patch and asking the teachers about it takes longer than training on it; `uses` above 1 shows
    each batch so many times on average, far apart.
    """

    dice: patches.Dice
    bank: glyph_bank.Bank
    choice: patches.Choice
    batch: int
    uses: int = 1
    _count: int = 0
    teachers: list[nn.Module] = field(default_factory=list)
    _pool: list[Lesson] = field(default_factory=list)

    @torch.no_grad()
    def next(self) -> Lesson:
        """The next batch, a fresh one or one of the last hundred again."""
        self._count += 1
        if self._count % self.uses and len(self._pool) == _POOL:
            return self._pool[int(self.dice.below(1, _POOL))]
        made = patches.make(self.dice, self.bank, self.choice, self.batch)
        views = network.normalise(made.patches, BOX_W_MM, made.box_h_mm)
        views = views.contiguous(memory_format=torch.channels_last)
        fresh = Lesson(views, made.answers, _told(self.teachers, views))
        if self.uses > 1:
            if len(self._pool) == _POOL:
                self._pool[int(self.dice.below(1, _POOL))] = fresh
            else:
                self._pool.append(fresh)
        return fresh


#: Bent copies of each digit of a font: with a hundred families about as many as there are drawings.
FONT_COPIES = 20


def load_bank(
    folder: Path,
    part: str,
    drawn: int,
    seed: int,
    device: torch.device,
    cache: Path | None,
    font_files: Sequence[Path] = (),
) -> tuple[glyph_bank.Bank, int]:
    """Glyphs of a part of MNIST, digits of fonts and drawings beside them; how many of them are MNIST's."""
    images, labels = mnist.load(folder, part)
    count = len(images)
    if font_files:
        more, named, _ = fonts.load(font_files, FONT_COPIES, seed)
        images, labels = np.concatenate([images, more]), np.concatenate([labels, named])
    made_by = "".join(
        Path(str(module.__file__)).read_text("utf-8") for module in (fonts, strokes, glyph_bank)
    ) + "".join(file.name for file in font_files)
    code = hashlib.sha256(made_by.encode()).hexdigest()[:8]
    kept = cache / f"glyphs-{part}-{drawn}-{seed}-{code}.pt" if cache else None
    if kept and kept.exists():
        held = torch.load(kept, map_location=device, weights_only=True)
        return glyph_bank.Bank(*held), count
    bank = glyph_bank.build(images, labels, strokes.draw(drawn, drawn // 2, drawn // 2, seed), device)
    if kept:
        kept.parent.mkdir(parents=True, exist_ok=True)
        torch.save((bank.fields, bank.frames, bank.answers, bank.kinds), kept)
    return bank, count


def _loss(logits: Tensor, answers: Tensor, taught: Tensor | None) -> Tensor:
    hard = functional.cross_entropy(logits, answers)
    if taught is None:
        return hard
    # Hinton, Vinyals, Dean 2015, arXiv 1503.02531: softened answers, the gradient scaled back by the square.
    soft = 2.0
    told = functional.kl_div(
        functional.log_softmax(logits / soft, dim=1),
        functional.softmax(taught / soft, dim=1),
        reduction="batchmean",
    )
    return 0.3 * hard + 0.7 * soft * soft * told


@torch.no_grad()
def _follow(average: nn.Module, model: nn.Module, rate: float) -> None:
    for kept, now in zip(average.state_dict().values(), model.state_dict().values(), strict=True):
        if kept.dtype.is_floating_point:
            kept.lerp_(now, rate)
        else:
            kept.copy_(now)


@dataclass(frozen=True, slots=True)
class Length:
    """How long to train: so many steps, or, with 0 steps, so many minutes."""

    steps: int
    minutes: float

    def done(self, step: int, seconds: float) -> float:
        """Share of the training that is over, 0 to 1 and beyond."""
        return step / self.steps if self.steps else seconds / (60 * self.minutes)


def _rate(peak: float, step: int, done: float) -> float:
    """Learning rate: 200 steps of warm-up, then half a cosine."""
    return peak * min(1.0, (step + 1) / 200) * (0.002 + 0.998 * (1 + math.cos(math.pi * min(done, 1))) / 2)


def _step(model: nn.Module, optimiser: torch.optim.AdamW, lesson: Lesson) -> Tensor:
    """Loss of the model, after it learned from a batch."""
    with torch.autocast(lesson.views.device.type, dtype=torch.bfloat16):
        scores = model(lesson.views).float()
    loss = _loss(scores, lesson.answers, lesson.taught)
    optimiser.zero_grad(set_to_none=True)
    loss.backward()  # type: ignore[no-untyped-call]
    nn.utils.clip_grad_norm_(model.parameters(), 2.0)
    optimiser.step()
    return loss.detach()


def train(model: nn.Module, source: Source, length: Length, lr: float, say: str) -> tuple[nn.Module, int]:
    """The averaged model after training, and the number of steps."""
    model.to(memory_format=torch.channels_last)  # type: ignore[call-overload] # missing in torch's stubs
    average = copy.deepcopy(model).eval()
    optimiser = torch.optim.AdamW(model.parameters(), lr=lr, weight_decay=0.02)
    begun = time.perf_counter()
    step = 0
    while (done := length.done(step, time.perf_counter() - begun)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = _rate(lr, step, done)
        loss = _step(model, optimiser, source.next())
        _follow(average, model, 1 - 0.5 ** (1 / min(_AVERAGE_HALF_LIFE, 1 + step / 10)))
        step += 1
        if step % 250 == 0:
            print(f"{say}: {done:.0%}, step {step}, loss {float(loss):.4f}", flush=True)
    return average, step


def load_teacher(file: Path, device: torch.device) -> nn.Module:
    """A teacher that an earlier run wrote."""
    teacher = network.Teacher()
    held = torch.load(file, map_location="cpu", weights_only=True)
    teacher.load_state_dict({name: value.float() for name, value in held["teacher"].items()})
    return teacher.to(device).eval().to(memory_format=torch.channels_last)  # type: ignore[call-overload,no-any-return]


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mnist", type=Path, required=True, help="folder of the four unpacked IDX files")
    parser.add_argument("--out", type=Path, required=True, help="where the weights go (.pt)")
    parser.add_argument("--device", default="auto", help="auto, cpu or cuda")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=8.0, help="time to train, if --steps is not given")
    parser.add_argument("--steps", type=int, default=0, help="steps to train, to repeat a run")
    parser.add_argument("--teacher", action="store_true", help="train a teacher, not the reader")
    parser.add_argument(
        "--taught-by", type=Path, nargs="*", default=[], help="teachers for the reader to learn from"
    )
    parser.add_argument(
        "--batch", type=int, default=0, help="patches a step; 256 on a CPU, 2048 on a GPU if left out"
    )
    parser.add_argument("--uses", type=int, default=3, help="times a patch is shown")
    parser.add_argument(
        "--drawn", type=int, default=20_000, help="drawn digits; half as many signs and scribbles"
    )
    parser.add_argument("--fonts", type=Path, help="folder of handwriting fonts (see fonts.py)")
    parser.add_argument("--cache", type=Path, help="folder to keep the glyph bank in between runs")
    args = parser.parse_args()
    device = torch.device(
        ("cuda" if torch.cuda.is_available() else "cpu") if args.device == "auto" else args.device
    )
    batch = args.batch or (2048 if device.type == "cuda" else 256)
    torch.manual_seed(args.seed)
    started = time.perf_counter()
    font_files = (
        [f for f in fonts.files_in(args.fonts) if fonts.family_of(f) in fonts.TRAINED_ON]
        if args.fonts
        else []
    )
    bank, images = load_bank(args.mnist, "train", args.drawn, args.seed, device, args.cache, font_files)
    print(f"{len(bank.answers)} glyphs on {device} in {time.perf_counter() - started:.0f} s", flush=True)
    dice, choice = patches.Dice(device, args.seed), patches.choices(bank, images, bool(font_files))
    teachers = [load_teacher(file, device) for file in args.taught_by]
    source = Source(dice, bank, choice, batch, args.uses, teachers=teachers)
    name, lr = ("teacher", 2e-3) if args.teacher else ("reader", 4e-3)
    model = network.Teacher() if args.teacher else network.Reader()
    trained, steps = train(model.to(device), source, Length(args.steps, args.minutes), lr, name)
    args.out.parent.mkdir(parents=True, exist_ok=True)
    about = {
        "seed": args.seed,
        "device": torch.cuda.get_device_name() if device.type == "cuda" else "CPU",
        "torch": str(torch.__version__),
        "batch": batch,
        "uses": args.uses,
        "steps": steps,
        "teachers": len(teachers),
        "drawn": args.drawn,
        "fonts": len(font_files),
        "minutes": round((time.perf_counter() - started) / 60, 2),
    }
    state = trained.cpu().state_dict()
    if args.teacher:  # half precision: a teacher is only asked
        state = {key: value.half() if value.is_floating_point() else value for key, value in state.items()}
    torch.save({name: state, "about": about}, args.out)
    print(f"wrote {args.out}: {about}")


if __name__ == "__main__":
    main()
