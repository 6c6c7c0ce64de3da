// A driver of SoapySDR for tests (its interface: Device.hpp and Registry.hpp of version 0.8): a receiver that hears
// one tone at 601.234 MHz, 40 dB under full scale, in weak noise, loses what nobody reads, and is gone after 60 looks.
#include <SoapySDR/Device.hpp>
#include <SoapySDR/Errors.hpp>
#include <SoapySDR/Formats.hpp>
#include <SoapySDR/Registry.hpp>
#include <cmath>
#include <complex>
#include <random>

class Band : public SoapySDR::Device {
    double rate = 1e6, tuned = 0.0;
    long at = 0;
    int looks = 0;
    std::mt19937 random{7};
    std::normal_distribution<float> noise{0.0f, 1e-4f};

  public:
    std::string getDriverKey() const override { return "band"; }
    size_t getNumChannels(const int direction) const override { return direction == SOAPY_SDR_RX ? 1 : 0; }
    SoapySDR::RangeList getSampleRateRange(const int, const size_t) const override { return {{1e6, 1e6}}; }
    void setSampleRate(const int, const size_t, const double hz) override { rate = hz; }
    double getSampleRate(const int, const size_t) const override { return rate; }
    void setFrequency(const int, const size_t, const double hz, const SoapySDR::Kwargs &) override { tuned = hz; looks++; }
    double getFrequency(const int, const size_t) const override { return tuned; }
    SoapySDR::Stream *setupStream(const int, const std::string &form, const std::vector<size_t> &,
                                  const SoapySDR::Kwargs &) override {
        if (form != SOAPY_SDR_CF32) throw std::runtime_error("another form of samples");
        return reinterpret_cast<SoapySDR::Stream *>(this);
    }
    int activateStream(SoapySDR::Stream *, const int, const long long, const size_t) override { return 0; }
    int readStream(SoapySDR::Stream *, void *const *buffers, const size_t count, int &flags, long long &,
                   const long timeout) override {
        flags = 0;
        if (looks > 60) return SOAPY_SDR_STREAM_ERROR;
        if (timeout == 0) return SOAPY_SDR_TIMEOUT;
        auto *samples = static_cast<std::complex<float> *>(buffers[0]);
        const double off = (601.234e6 - tuned) / rate;
        for (size_t n = 0; n < count; n++, at++) {
            samples[n] = {noise(random), noise(random)};
            if (std::abs(off) < 0.5) samples[n] += std::polar(0.01f, float(2.0 * M_PI * std::fmod(off * at, 1.0)));
        }
        return int(count);
    }
    void closeStream(SoapySDR::Stream *) override {}
};

static SoapySDR::KwargsList find(const SoapySDR::Kwargs &) { return {{{"driver", "band"}}}; }
static SoapySDR::Device *make(const SoapySDR::Kwargs &) { return new Band(); }
static SoapySDR::Registry registry("band", &find, &make, SOAPY_SDR_ABI_VERSION);
