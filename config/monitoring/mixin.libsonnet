// The files beside this one in the form that jsonnet users merge with others:
//   (import 'config/monitoring/mixin.libsonnet')
{
  prometheusAlerts+:: { groups+: std.parseYaml(importstr 'alerts.yml').groups },
  prometheusRules+:: { groups+: std.parseYaml(importstr 'recording.yml').groups },
  grafanaDashboards+:: {
    ['dewgap-' + name + '.json']: std.parseJson(text[name])
    for name in std.objectFields(text)
  },
  local text = {
    fleet: importstr 'grafana/fleet.json',
    site: importstr 'grafana/site.json',
    compressor: importstr 'grafana/compressor.json',
    commissioning: importstr 'grafana/commissioning.json',
  },
}
