// What the zoomable night of the report and of the live page have in common.
var nightChart = (function () {
  "use strict";

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  }

  // A dotted line with a word at each event: {t, event}, t as the chart counts it.
  function drawEvents(events, context, area, chart) {
    context.strokeStyle = colour("faint");
    context.fillStyle = colour("faint");
    context.font = "11px sans-serif";
    events.forEach(function (event) {
      var x = chart.toDomXCoord(event.t);
      if (x < area.x || x > area.x + area.w) { return; }
      context.setLineDash([2, 3]);
      context.beginPath();
      context.moveTo(x, area.y);
      context.lineTo(x, area.y + area.h);
      context.stroke();
      context.setLineDash([]);
      context.fillText(event.event, x + 3, area.y + area.h - 5);
    });
  }

  function options() {
    return {
      digitsAfterDecimal: 3,
      labelsUTC: true,
      legend: "follow",
      // With a range selector a drag would else move what is shown.
      interactionModel: Dygraph.defaultInteractionModel,
      gridLineColor: colour("line"),
      axisLineColor: colour("faint"),
      rangeSelectorPlotStrokeColor: colour("faint"),
      rangeSelectorPlotFillColor: colour("line"),
      showRangeSelector: true,
      rangeSelectorHeight: 36
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
    drawEvents: drawEvents,
    options: options,
    describeHandles: describeHandles,
    onOtherGround: onOtherGround
  };
})();
