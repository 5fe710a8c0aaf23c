// The zoomable night. The static figure stands where this does not run, and on paper.
(function () {
  "use strict";
  var night = JSON.parse(document.getElementById("night-data").textContent);
  document.documentElement.classList.add("scripted");

  function colour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  }

  function underlay(context, area, chart) {
    night.segments.forEach(function (segment) {
      var from = chart.toDomXCoord(segment.from_h);
      var to = chart.toDomXCoord(segment.to_h);
      context.fillStyle = colour(segment.side + "-band");
      context.fillRect(from, area.y, to - from, area.h);
    });
    context.strokeStyle = colour("faint");
    context.fillStyle = colour("faint");
    context.font = "11px sans-serif";
    night.events.forEach(function (event) {
      var x = chart.toDomXCoord(event.t_h);
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
    var fits = night.sides.map(function (side) { return "fit, " + side + " (mm)"; });
    var colours = { plus: "plus", minus: "minus", away: "ink" };
    return {
      labels: ["time (h)", "measured (mm)"].concat(fits),
      xlabel: "time since the first frame (h)",
      ylabel: "position on the scale (mm)",
      colors: [colour("faint")].concat(night.sides.map(function (side) {
        return colour(colours[side]);
      })),
      series: {
        "measured (mm)": { strokeWidth: 0, drawPoints: true, pointSize: 1.2 },
        "fit, minus (mm)": { strokePattern: [6, 2] }
      },
      strokeWidth: 1.5,
      digitsAfterDecimal: 3,
      labelsUTC: true,
      legend: "follow",
      gridLineColor: colour("line"),
      axisLineColor: colour("faint"),
      rangeSelectorPlotStrokeColor: colour("faint"),
      rangeSelectorPlotFillColor: colour("line"),
      showRangeSelector: true,
      rangeSelectorHeight: 36,
      underlayCallback: underlay
    };
  }

  var place = document.getElementById("zoomable");
  var chart = new Dygraph(place, night.rows, options());
  place.querySelectorAll("img").forEach(function (handle) {
    handle.alt = "handle of the range shown";
  });
  document.getElementById("whole-night").addEventListener("click", function () {
    chart.resetZoom();
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", function () {
    chart.updateOptions(options());
  });
})();
