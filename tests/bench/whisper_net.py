"""Whisper in torch, of weights in CTranslate2's form, in a form that can be learnt: as handsfree/speech/neural_decoder.py and
its encoder. A correction of low rank is multiplied on its own."""

from __future__ import annotations

from torch import Tensor
from torch.nn import functional

HEAD = 64  # columns a head, of every size of whisper
Model, Learnt = dict[str, Tensor], dict[str, dict[str, Tensor]]


def linear(x: Tensor, model: Model, name: str) -> Tensor:
    """The correction is multiplied on its own: so no slope of a whole matrix is ever worked out, a third of the work."""
    weight = f"{name}/weight"
    out = functional.linear(x, model[weight], model[f"{name}/bias"])
    if f"{weight}:up" not in model:
        return out
    return out + functional.linear(functional.linear(x, model[f"{weight}:down"]), model[f"{weight}:up"])


def norm(x: Tensor, model: Model, name: str) -> Tensor:
    return functional.layer_norm(x, x.shape[-1:], model[f"{name}/gamma"], model[f"{name}/beta"], 1e-5)


def attention(query: Tensor, key: Tensor, value: Tensor, causal: bool = False) -> Tensor:
    query, key, value = (x.unflatten(-1, (-1, HEAD)).transpose(1, 2) for x in (query, key, value))
    return functional.scaled_dot_product_attention(query, key, value, is_causal=causal).transpose(1, 2).flatten(2)


def layer(x: Tensor, model: Model, name: str, sound: Tensor | None = None) -> Tensor:
    own = linear(norm(x, model, f"{name}/self_attention/layer_norm"), model, f"{name}/self_attention/linear_0")
    x = x + linear(attention(*own.chunk(3, -1), causal=sound is not None), model, f"{name}/self_attention/linear_1")
    if sound is not None:
        query = linear(norm(x, model, f"{name}/attention/layer_norm"), model, f"{name}/attention/linear_0")
        both = linear(sound, model, f"{name}/attention/linear_1").chunk(2, -1)
        x = x + linear(attention(query, *both), model, f"{name}/attention/linear_2")
    inner = linear(norm(x, model, f"{name}/ffn/layer_norm"), model, f"{name}/ffn/linear_0")
    return x + linear(functional.gelu(inner), model, f"{name}/ffn/linear_1")


def layers(model: Model, part: str) -> list[str]:
    count = sum(1 for name in model if name.startswith(part) and name.endswith("/ffn/linear_0/weight"))
    return [f"{part}/layer_{number}" for number in range(count)]


def encode(model: Model, mel: Tensor) -> Tensor:
    x = mel
    for name, stride in (("encoder/conv1", 1), ("encoder/conv2", 2)):
        x = functional.conv1d(x, model[f"{name}/weight"], model[f"{name}/bias"], stride=stride, padding=1)
        x = functional.gelu(x)
    x = x.transpose(1, 2)
    x = x + model["encoder/position_encodings/encodings"][: x.shape[1]]
    for name in layers(model, "encoder"):
        x = layer(x, model, name)
    return norm(x, model, "encoder/layer_norm")


def decode(model: Model, sound: Tensor, tokens: Tensor) -> Tensor:
    x = model["decoder/embeddings/weight"][tokens] + model["decoder/position_encodings/encodings"][: tokens.shape[1]]
    for name in layers(model, "decoder"):
        x = layer(x, model, name, sound)
    return norm(x, model, "decoder/layer_norm")


def corrected(weights: Model, tree: Learnt) -> Model:
    parts = {f"{name}:{part}": tree[part][name] for part in ("down", "up") for name in tree[part]}
    return {**weights, **parts, **{name: weights[name] + value for name, value in tree["add"].items()}}
