"""Height above ground of rope, attachment and seat: one stop, every stop, unloading.

`envelope.find_heights` is what the plan uses; `stop.stop_heights` shows one stop;
`unloading.unload` follows a sequence of cleared carriers step by step.
"""
