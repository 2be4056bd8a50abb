"""Files as people's devices make them, and as somebody with bad intentions would."""

import io

from PIL import Image

PDF = b"%PDF-1.4\n1 0 obj\n<< >>\nendobj\ntrailer\n<< >>\n%%EOF\n"


def picture(kind: str = "PNG", size: tuple[int, int] = (640, 480), **more: object) -> bytes:
    out = io.BytesIO()
    image = Image.effect_noise(size, 40)  # no two pixels alike: it cannot shrink to nothing
    image.convert("RGB").save(out, kind, **more)
    return out.getvalue()
