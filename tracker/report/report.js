// The zoomable night. The static figure stands where this does not run, and on paper.
(function () {
  "use strict";
  var night = JSON.parse(document.getElementById("night-data").textContent);
  document.documentElement.classList.add("scripted");
  var colour = nightChart.colour;

  function underlay(context, area, chart) {
    night.segments.forEach(function (segment) {
      var from = chart.toDomXCoord(segment.from_h);
      var to = chart.toDomXCoord(segment.to_h);
      context.fillStyle = colour(segment.side + "-band");
      context.fillRect(from, area.y, to - from, area.h);
    });
    nightChart.drawEvents(night.events.map(function (event) {
      return { t: event.t_h, event: event.event };
    }), context, area, chart);
  }

  function options() {
    var fits = night.sides.map(function (side) { return "fit, " + side + " (mm)"; });
    var colours = { plus: "plus", minus: "minus", away: "ink" };
    return Object.assign(nightChart.options(), {
      axes: nightChart.legendAxes(3600, 2),
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
      underlayCallback: underlay
    });
  }

  var place = document.getElementById("zoomable");
  var chart = new Dygraph(place, night.rows, options());
  nightChart.describeHandles(place);
  document.getElementById("whole-night").addEventListener("click", function () {
    chart.resetZoom();
  });
  nightChart.onOtherGround(function () { chart.updateOptions(options()); });
})();
