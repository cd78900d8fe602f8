"""The model fitted to readings and to tones heard.

Public: ``solve.fit``, ``readings``, ``thermometer``, ``suspicion``,
``next_reading``, ``trim_advice``.
"""
