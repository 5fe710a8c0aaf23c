// What the zoomable night of the report and of the live page have in common.
var nightChart = (function () {
  "use strict";

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  }

  // Seconds as people say them: "2 h 03 min 05 s", "12 min 30 s".
  function duration(s) {
    var minus = s < 0 ? "\u2212" : "";
    s = Math.abs(s);
    if (s < 60) { return minus + s.toFixed(1) + " s"; }
    s = Math.round(s);
    var two = function (n) { return (n < 10 ? "0" : "") + n; };
    if (s < 3600) { return minus + Math.floor(s / 60) + " min " + two(s % 60) + " s"; }
    return minus + Math.floor(s / 3600) + " h " + two(Math.floor(s / 60) % 60) + " min " +
      two(s % 60) + " s";
  }

  // What the legend says of the point under the pointer: `unit_s` is the unit of time of the chart.
  function legendAxes(unit_s, decimals) {
    return {
      x: { valueFormatter: function (t) { return duration(t * unit_s); } },
      y: { valueFormatter: function (y) { return y.toFixed(decimals); } }
    };
  }

  // A dotted line with a word at each event: {t, event}, t as the chart counts it. Words that
  // would stand on each other go into lines above each other.
  function drawEvents(events, context, area, chart) {
    context.strokeStyle = colour("faint");
    context.fillStyle = colour("faint");
    context.font = "13px sans-serif";
    var lineEnds = [];
    events.slice().sort(function (a, b) { return a.t - b.t; }).forEach(function (event) {
      var x = chart.toDomXCoord(event.t);
      if (x < area.x || x > area.x + area.w) { return; }
      context.setLineDash([2, 3]);
      context.beginPath();
      context.moveTo(x, area.y);
      context.lineTo(x, area.y + area.h);
      context.stroke();
      context.setLineDash([]);
      var line = 0;
      while (line < lineEnds.length && lineEnds[line] > x) { ++line; }
      if (15 * (line + 1) > area.h) { return; }
      lineEnds[line] = x + 6 + context.measureText(event.event).width;
      context.fillText(event.event, x + 3, area.y + area.h - 5 - 15 * line);
    });
  }

  function options() {
    return {
      labelsUTC: true,
      legend: "follow",
      // With a range selector a drag would else move what is shown.
      interactionModel: Dygraph.defaultInteractionModel,
      gridLineColor: colour("line"),
      axisLineColor: colour("faint"),
      rangeSelectorPlotStrokeColor: colour("faint"),
      rangeSelectorPlotFillColor: colour("line"),
      showRangeSelector: true,
      rangeSelectorHeight: 36,
      axisLabelFontSize: 14
    };
  }

  function describeHandles(place) {
    place.querySelectorAll("img").forEach(function (handle) {
      handle.alt = "handle of the range shown";
    });
  }

  function onOtherGround(redraw) {
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  }

  return {
    colour: colour,
    duration: duration,
    legendAxes: legendAxes,
    drawEvents: drawEvents,
    options: options,
    describeHandles: describeHandles,
    onOtherGround: onOtherGround
  };
})();
