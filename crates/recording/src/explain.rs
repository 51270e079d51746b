//! Why a pulse at the finger comes late, with the recording's own numbers.

use crate::measure::Measurements;

/// Tells why the finger's pulse comes when it does, or nothing where there is none.
///
/// A pulse wave takes time to travel: its foot reaches the finger some 145 ms after the aortic
/// upstroke, which is neither an error nor a sign of anything.
pub fn late_pulse(measured: &Measurements) -> Option<String> {
    let median = |id: &str, channel: &str| measured.get(id, channel).map(|m| m.values.median);
    let finger = median("pulse_arrival", "finger_pulse")?;
    let mut text = format!(
        "The pulse at the finger begins {finger:.0} ms after R. Two things take this time: the ventricle builds up pressure until the aortic valve opens, and then the pulse wave travels from the heart along the arm."
    );
    let nearer = [("aortic_pressure", "aorta"), ("radial_pressure", "radial artery")];
    let pressure = nearer.iter().find_map(|(id, name)| Some((median("pulse_arrival", id)?, name)));
    if let Some((arrival, name)) = pressure {
        text += &format!(
            " Here the pressure in the {name} begins to rise {arrival:.0} ms after R, and the finger's pulse {:.0} ms after that.",
            finger - arrival
        );
    }
    if let (Some(r_s1), Some(s1_s2)) = (median("r_s1", ""), median("s1_s2", "")) {
        text += &format!(
            " S2 begins {:.0} ms after R, so the finger's pulse begins {:.0} ms before S2 and is still rising or at its crest when the aortic valve has closed.",
            r_s1 + s1_s2,
            r_s1 + s1_s2 - finger
        );
    }
    text += " On an alignment line through R or S2 the finger's pulse therefore stands too far to the right for a pressure in the aorta. That is expected: move it to the left by its delay, or draw it as what it is, a pulse at the finger.";
    Some(text)
}
