//! `ullage devices`: the sound cards and MIDI inputs there are.

use serde_json::{Value, json};

use super::Failure;
use crate::cli::print::{print, print_json};
use crate::live::{DeviceInfo, HostInfo, list_inputs, list_midi, list_outputs};

/// Version of the JSON object.
const VERSION: u32 = 1;

/// List the sound cards and MIDI inputs there are
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: ullage devices")]
pub struct DevicesArgs {
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

pub(super) fn run(args: &DevicesArgs) -> Result<(), Failure> {
    let (outputs, inputs, midi) = (list_outputs(), list_inputs(), list_midi());
    if args.json {
        return print_json(&json!({
            "version": VERSION,
            "outputs": hosts_json(&outputs),
            "inputs": hosts_json(&inputs),
            "midi_inputs": midi.as_ref().cloned().unwrap_or_default(),
            "midi_because": midi.as_ref().err().map(ToString::to_string),
        }));
    }
    let mut text = String::new();
    for (what, hosts) in [("outputs", &outputs), ("inputs", &inputs)] {
        for host in hosts {
            text += &host_text(what, host);
        }
    }
    text += &match &midi {
        Err(because) => format!("MIDI inputs: {because}\n"),
        Ok(ports) if ports.is_empty() => "MIDI inputs: none\n".to_owned(),
        Ok(ports) => {
            let lines: String = ports.iter().map(|port| format!("  {port}\n")).collect();
            format!("MIDI inputs:\n{lines}")
        }
    };
    print(&text)
}

fn host_text(what: &str, host: &HostInfo) -> String {
    let name = &host.host;
    match &host.devices {
        Err(because) => format!("{name} {what}: none, {because}\n"),
        Ok(devices) if devices.is_empty() => format!("{name} {what}: none\n"),
        Ok(devices) => {
            let lines: String = devices.iter().map(device_text).collect();
            format!("{name} {what}:\n{lines}")
        }
    }
}

fn device_text(device: &DeviceInfo) -> String {
    let mut facts = Vec::new();
    if let Some(channels) = device.channels {
        facts.push(format!("{channels} channels"));
    }
    match (device.rate_hz, device.rates_hz) {
        (Some(hz), Some((low, high))) if low < high => {
            facts.push(format!("{hz} Hz ({low} to {high})"));
        }
        (Some(hz), _) => facts.push(format!("{hz} Hz")),
        (None, _) => facts.push("does not answer".to_owned()),
    }
    if let Some((low, high)) = device.buffer_frames {
        facts.push(if low == high {
            format!("{low} frames a callback")
        } else {
            format!("{low} to {high} frames a callback")
        });
    }
    if device.is_default {
        facts.push("default".to_owned());
    }
    format!("  {} [{}]: {}\n", device.name, device.id, facts.join(", "))
}

fn hosts_json(hosts: &[HostInfo]) -> Value {
    let host = |host: &HostInfo| {
        let devices = host.devices.as_deref().unwrap_or_default();
        json!({
            "host": host.host,
            "default": host.is_default,
            "because": host.devices.as_ref().err().map(ToString::to_string),
            "devices": devices.iter().map(device_json).collect::<Vec<_>>(),
        })
    };
    hosts.iter().map(host).collect()
}

fn device_json(device: &DeviceInfo) -> Value {
    json!({
        "name": device.name,
        "id": device.id,
        "default": device.is_default,
        "channels": device.channels,
        "rate_hz": device.rate_hz,
        "rates_hz": device.rates_hz.map(|(low, high)| [low, high]),
        "buffer_frames": device.buffer_frames.map(|(low, high)| [low, high]),
    })
}
