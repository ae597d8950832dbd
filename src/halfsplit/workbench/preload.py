"""What the engine's processes share: imported once by the process that they are forked from, so none loads it again.

A small job is worked out on import, since compiled code is loaded where it is first called. What is there then is
taken out of the rounds of the garbage collector, which would write to it and so end the sharing.
"""

import gc

from halfsplit.job.replay import warm
from halfsplit.threads import give_memory_back
from halfsplit.workbench import app
from halfsplit.workbench.rendering import environment

warm()
for _name in environment().list_templates(extensions=["html"]):
    environment().get_template(_name)
gc.collect()
gc.freeze()
# A large vehicle makes tens of thousands of objects that stay: the usual 700 wake the collector for nothing.
gc.set_threshold(20_000, 20, 20)
give_memory_back()

__all__ = ["app"]
