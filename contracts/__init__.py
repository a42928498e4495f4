"""Floor 1: the vocabulary that every plug-in and every command speaks.

signal, soft_bits, play, decoded: what travels. line_code, layer, codec, channel_model, receiver: who works on it.
parameters, plug_in, spec, registry, joints: how a plug-in is described, written down, found and joined.
keying, switching, relay_cost: what hardware must know of a line code or a layer, where it can play or decode it.
streams: where randomness comes from. errors: what is said when something is wrong.
conformance: the kit that any plug-in, ours or a stranger's, must pass.
"""
