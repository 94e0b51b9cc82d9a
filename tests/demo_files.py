"""The demo's files, read once for all tests."""

from pathlib import Path

from spinproof.model.channel_map import ChannelMap
from spinproof.model.documents import parse_document
from spinproof.model.head import HeadSpec
from spinproof.model.job import JobFile
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe

DEMO_DATA = Path(__file__).parents[1] / "src" / "spinproof" / "app" / "demo_data"


def _read(name: str, kind: type):
    return parse_document((DEMO_DATA / name).read_text(), kind, name)


CR_1: Recipe = _read("cr-1.recipe.toml", Recipe)
LOWER: HeadSpec = _read("lower.head.toml", HeadSpec)
UPPER: HeadSpec = _read("upper.head.toml", HeadSpec)
LOWER_CHANNELS: ChannelMap = _read("lower.channels.toml", ChannelMap)
UPPER_CHANNELS: ChannelMap = _read("upper.channels.toml", ChannelMap)
LIMITS: LimitSet = _read("run.limits.toml", LimitSet)
OFF_AXIS: HeadSpec = _read("qm-211-a.head.toml", HeadSpec)
CASSETTES_LOAD: Load = _read("cassettes.load.toml", Load)
PARTIAL_LOAD: Load = _read("partial.load.toml", Load)
JOB: JobFile = _read("qa-1041.job.toml", JobFile)
