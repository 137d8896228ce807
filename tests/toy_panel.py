"""A toy panel, made up for the tests: a curve with two sliders, a choice, a button and a slow half."""

import time

import numpy as np

from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page
from fermkit.show import plots
from fermkit.show.controls import Action, Choice, Paste, Slider
from fermkit.show.panel import Panel

PRESSED = []


def toy(slow_s=0.0, work_s=0.0):
    """A panel on the logistic curve; `slow_s` and `work_s` are the seconds that its halves take."""
    picture = plots.figure(15, 8)
    with plots.house_style():
        ax = picture.subplots()
    time_h = np.linspace(0, 48, 200)

    def draw(rate, lag_h, kind, note):
        if rate > 9.9:
            raise InputError(f"rate is {rate:g} 1/h", "a rate below 9.9 1/h", "slow down")
        if note == "break":
            raise ZeroDivisionError("a fault on purpose")
        time.sleep(work_s)
        gas = 100 / (1 + np.exp(rate * (lag_h + 6 - time_h)))
        ax.plot(time_h, gas, label=kind)
        ax.plot([lag_h, lag_h], [0, 110], label="lag")
        ax.set(xlim=(0, 48), ylim=(0, 110), xlabel="time, h", ylabel="gas, mL")
        ax.legend(loc="lower right")
        half = Line("gas after a day", float(np.interp(24, time_h, gas)), "mL")
        return Page(f"At a rate of {rate:g} per hour the {kind} run needs {lag_h:g} h to start.", [half])

    def later(rate, lag_h, kind, note):
        time.sleep(slow_s)
        return Page("The slow half, done at rest.", [Line("rate twice over", 2 * rate, "1/h")])

    def press(**values):
        PRESSED.append(values)
        return f"Pressed at a rate of {values['rate']:g}."

    controls = [
        Slider("rate", "Rate, 1/h", 0.1, 10, 0.1, 0.5),
        Slider("lag_h", "Lag, h", 0, 20, 0.5, 4),
        Choice("kind", "Kind", ["calm", "stormy"], "calm"),
        Paste("note", "Note"),
        Action("press", "Press", press),
    ]
    return Panel("Toy", controls, draw, picture, slow=later)
