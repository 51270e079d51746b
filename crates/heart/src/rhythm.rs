//! Rhythms: how beats follow one another.

use crate::HeartError;
use cycle::nearest;

/// How beats follow one another.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rhythm {
    /// Every beat starts in the sinus node, evenly.
    #[default]
    Sinus,
    /// Sinus beats that quicken with inspiration and slow with expiration.
    RespiratorySinusArrhythmia,
    /// Second-degree AV block, type I: the PR interval lengthens until a beat is dropped.
    SecondDegreeTypeI,
    /// Second-degree AV block, type II: a beat is dropped without warning.
    SecondDegreeTypeII,
    /// Third-degree AV block: atria and ventricles each at their own rate.
    ThirdDegree,
    /// Atrial fibrillation: no P waves, ventricles irregular.
    AtrialFibrillation,
    /// A premature atrial beat among sinus beats.
    PrematureAtrial,
    /// A premature ventricular beat and a compensatory pause among sinus beats.
    PrematureVentricular,
}

impl Rhythm {
    /// All rhythms with their identifiers in files and on the command line.
    pub const ALL: [(&'static str, Self); 8] = [
        ("sinus", Self::Sinus),
        ("respiratory_sinus_arrhythmia", Self::RespiratorySinusArrhythmia),
        ("second_degree_type_1", Self::SecondDegreeTypeI),
        ("second_degree_type_2", Self::SecondDegreeTypeII),
        ("third_degree", Self::ThirdDegree),
        ("atrial_fibrillation", Self::AtrialFibrillation),
        ("premature_atrial", Self::PrematureAtrial),
        ("premature_ventricular", Self::PrematureVentricular),
    ];

    /// The rhythm called `name`.
    ///
    /// # Errors
    /// [`HeartError::UnknownRhythm`] with the nearest name.
    pub fn from_name(name: &str) -> Result<Self, HeartError> {
        let found = Self::ALL.iter().find(|(known, _)| *known == name);
        found.map(|(_, rhythm)| *rhythm).ok_or_else(|| HeartError::UnknownRhythm {
            name: name.to_owned(),
            nearest: nearest(name, Self::ALL.iter().map(|(known, _)| *known)),
        })
    }

    /// Its identifier.
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(_, rhythm)| *rhythm == self).map_or("sinus", |(name, _)| name)
    }
}
